// Any bytes as a manifest, as changes.json and as set.json: a refusal says all it must, and what is accepted
// is canonical.
#include <cstdlib>

#include "calseal/bundle/changes.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/set_descriptor.h"
#include "fuzz/fuzz_target.h"

namespace {

template <typename Value, typename Write>
void check(calseal::ByteView bytes, const calseal::Result<Value>& parsed, Write write) {
  if (parsed) {
    if (write(*parsed) != calseal::text_of(bytes)) std::abort();
  } else {
    const calseal::Error& error = parsed.error();
    if (error.file != "input" || error.found.empty() || error.expected.empty() || error.next.empty())
      std::abort();
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const calseal::ByteView bytes(data, size);
  check(bytes, calseal::parse_manifest(bytes, "input"), calseal::write_manifest);
  check(bytes, calseal::parse_changes(bytes, "input"), calseal::write_changes);
  check(bytes, calseal::parse_set(bytes, "input"), calseal::write_set);
  return 0;
}
