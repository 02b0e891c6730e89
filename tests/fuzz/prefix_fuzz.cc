// Any bytes as a bundle: the prefix stays inside the file, and where manifest, framing and digests hold as
// well, every content can be taken out or is refused in good order.
#include <cstdlib>

#include "calseal/bundle/entries.h"
#include "fuzz/fuzz_target.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace calseal;
  const ByteView file(data, size);
  const auto prefix = read_prefix(file, "input");
  if (!prefix) {
    const Error& error = prefix.error();
    if (error.file != "input" || error.found.empty() || error.expected.empty() || error.next.empty())
      std::abort();
    return 0;
  }
  if (prefix->end > size || prefix->manifest.size() > kManifestSizeLimit ||
      prefix->signatures.size() > kSignatureLimit)
    std::abort();
  const auto manifest = parse_manifest(prefix->manifest, "input");
  if (!manifest) return 0;
  const auto framing = verify_framing(file, *prefix, *manifest, "input");
  if (!framing) return 0;
  if (framing->total_size != size) std::abort();
  if (!verify_stored_digests(file, *framing, *manifest, "input")) return 0;
  for (std::size_t i = 0; i < manifest->entries.size(); ++i) {
    const auto content = read_content(file, *framing, *manifest, i, "input");
    if (content && content->size() != manifest->entries[i].size) std::abort();
    if (!content && content.error().reason != Reason::kContentDigest) std::abort();
  }
  return 0;
}
