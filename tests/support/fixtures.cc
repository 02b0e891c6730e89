#include "support/fixtures.h"

namespace calseal {

const std::string& fixtures() {
  static const std::string folder = CALSEAL_FIXTURES;
  return folder;
}

}  // namespace calseal
