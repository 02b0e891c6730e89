#include "calseal/check/read_bundle.h"

#include <optional>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/framing.h"
#include "calseal/check/open.h"

namespace calseal {
namespace {

// Size of the file that this beginning promises; nothing when the checker will refuse it without a look
// further.
std::optional<std::uint64_t> promised_size(ByteView beginning, const TrustFile* trust,
                                           const std::string& name) {
  if (trust == nullptr) return std::nullopt;
  std::vector<Step> steps = all_steps();
  const Result<SignedManifest> sealed = open_signed(beginning, name, trust, steps);
  if (!sealed) return std::nullopt;
  const BundlePrefix& prefix = sealed->prefix;
  return compute_framing(prefix.manifest, prefix.signatures, sealed->manifest).total_size;
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
