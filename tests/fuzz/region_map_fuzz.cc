// Any bytes as a region map: a refusal says all it must, and an accepted map keeps the promises of
// region_map.h.
#include <cstdlib>

#include "calseal/map/region_map.h"
#include "fuzz/fuzz_target.h"
#include "support/region_map_soundness.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace calseal;
  const auto map = parse_region_map(Bytes(data, data + size), "input");
  if (map) {
    if (map->text != Bytes(data, data + size) || !unsound_part(*map).empty()) std::abort();
  } else {
    const Error& error = map.error();
    if (error.file != "input" || error.found.empty() || error.expected.empty() || error.next.empty())
      std::abort();
  }
  return 0;
}
