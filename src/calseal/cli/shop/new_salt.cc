#include "calseal/cli/shop/new_salt.h"

#include <sys/random.h>

#include "calseal/check/check.h"

namespace calseal {

Result<Bytes> make_salt() {
  Bytes salt(kSaltSize);
  if (::getrandom(salt.data(), salt.size(), 0) != static_cast<ssize_t>(salt.size())) {
    return fail({Reason::kInternal, "", "salt", "no random bytes from the system", "32 random bytes",
                 "run the command again"});
  }
  return salt;
}

}  // namespace calseal
