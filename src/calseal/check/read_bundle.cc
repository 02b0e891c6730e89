#include "calseal/check/read_bundle.h"

#include <optional>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/framing.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/prefix.h"
#include "calseal/trust/judge.h"

namespace calseal {
namespace {

// Size of the file that this beginning promises; nothing when the checker will refuse it without a look
// further.
std::optional<std::uint64_t> promised_size(ByteView beginning, const TrustFile* trust,
                                           const std::string& name) {
  const auto prefix = read_prefix(beginning, name);
  if (!prefix || trust == nullptr || !verify_prefix_signatures(*prefix, *trust, name)) return std::nullopt;
  const auto manifest = parse_manifest(prefix->manifest, name);
  if (!manifest) return std::nullopt;
  return compute_framing(prefix->manifest, prefix->signatures, *manifest).total_size;
}

}  // namespace

Result<Bytes> read_bundle(const std::string& path, const TrustFile* trust) {
  CALSEAL_ASSIGN(PartialFile file, PartialFile::open(path, kBundleSizeLimit));
  Bytes bytes;
  CALSEAL_CHECK(file.read_up_to(kPrefixSizeLimit, bytes));
  if (const auto size = promised_size(bytes, trust, printable(path))) {
    CALSEAL_CHECK(file.read_up_to(*size + 1, bytes));
  }
  return bytes;
}

}  // namespace calseal
