// Opening a bundle: everything that can be judged without a read, in the normative order. One path in stages
// (signed, stored, trust, contents); each caller goes as far as it must and no further.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/bundle/changes.h"
#include "calseal/bundle/framing.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/passing_file.h"
#include "calseal/bundle/prefix.h"
#include "calseal/bundle/set_descriptor.h"
#include "calseal/check/order.h"
#include "calseal/check/verdict.h"
#include "calseal/map/region_map.h"
#include "calseal/trust/inclusion.h"
#include "calseal/trust/judge.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

// A bundle whose seal holds; or, from open_unverified(), one that only reads well.
struct OpenedBundle {
  std::string name;
  Bytes file;
  Manifest manifest;
  Sha256 digest;  // of the manifest: the revision's identity
  Framing framing;
  RegionMap map;
  std::vector<Change> changes;
  std::optional<SetDescriptor> set;
  std::vector<Bytes> payload;  // content of manifest.controller().payload, in its order
  std::vector<std::string> signers;

  // From open_sealed() only.
  Vouching vouching;  // who answers for it
  Passage passage = Passage::kUnknown;
  bool incomplete = false;  // roles are missing, which RolesRule::kMayBeMissing let pass
  std::vector<Caution> cautions;
};

// Whether missing roles end the opening (for everyone but the shop that is still collecting signatures).
enum class RolesRule : std::uint8_t { kRequired, kMayBeMissing };

// What a sealed bundle is judged by. Plain pointers: the caller keeps everything alive.
struct OpenContext {
  const TrustFile* trust = nullptr;
  UtcTime now;  // for trials
  RolesRule roles = RolesRule::kRequired;
  const OrderEvidence* order = nullptr;       // nothing: neither order in time nor the clock is judged
  const InclusionProof* inclusion = nullptr;  // for a seal by a key that was compromised later
};

// Stage 1, steps "prefix" to "manifest": what the signatures cover. `beginning`: the first kPrefixSizeLimit
// bytes of the file at least, or all; it must outlive what comes back. `trust`: nullptr leaves out step
// "signature", for whoever shows or indexes a bundle and accepts nothing.
struct SignedManifest {
  BundlePrefix prefix;
  Signers signers;  // empty without a trust file
  Manifest manifest;
  Sha256 digest;  // of the manifest's bytes
};
Result<SignedManifest> open_signed(ByteView beginning, const std::string& name, const TrustFile* trust,
                                   std::vector<Step>& steps);

// Stage 2, steps "framing" and "stored-digests".
Result<Framing> open_stored(ByteView file, const SignedManifest& sealed, const std::string& name,
                            std::vector<Step>& steps);

// Stages 1 to 3 of a bundle: container, signatures, digests of stored bytes, and whether these keys may sign
// it. Order in time and contents are not looked at.
struct StoredBundle {
  std::optional<Error> reason;  // nothing: everything holds as far as it was looked at
  // Known once the signatures over it were good.
  std::optional<Manifest> manifest;
  Sha256 digest;               // of the manifest: the revision's identity
  std::vector<KeyId> signers;  // in the order of the file
  Sha256 seal_digest;
  std::optional<Framing> framing;
  bool incomplete = false;  // roles are missing, which RolesRule::kMayBeMissing let pass
};
// They are gone through while the file passes by in pieces, in bounded memory whatever its size; what is to
// be hashed goes into `streams`, beside that of other files.
class PassingBundle {
 public:
  PassingBundle(std::string name, const OpenContext& context, Sha256Streams& streams)
      : name_(std::move(name)), context_(context), streams_(streams) {}

  // The first kPrefixSizeLimit bytes of the file at least, or all; then what follows. All bytes must stay
  // until the streams are flushed.
  void begin(ByteView beginning);
  void take(ByteView piece);
  // Whether what follows is still looked at.
  bool goes_on() const { return passing_.has_value(); }
  // After the last piece; once. `read`: whether the file could be read.
  StoredBundle finish(const Status& read = {});

 private:
  Status open(ByteView beginning);
  Status judge(const Status& read);

  std::string name_;
  OpenContext context_;
  Sha256Streams& streams_;
  SignedManifest sealed_;  // its prefix is not looked at after begin()
  StoredBundle stored_;
  std::optional<PassingFile> passing_;  // nothing after a fault
};

// The same of a file that lies in memory.
StoredBundle open_whole(ByteView file, const std::string& name, const OpenContext& context);

// Stage 4, step "contents", of a bundle that is known to hold. `file`: the same bytes.
// `parsed`: a region map that may well be the same one; its text is compared.
Result<OpenedBundle> open_contents(Bytes file, StoredBundle stored, const std::string& name,
                                   const RegionMap* parsed = nullptr);

// All stages: the steps "prefix" to "rules" of docs/bundle-format.md, noted in `steps`.
Result<OpenedBundle> open_sealed(Bytes file, const std::string& name, const OpenContext& context,
                                 std::vector<Step>& steps);

// Reads a bundle without believing it, for `show`: same limits, no signature looked at.
Result<OpenedBundle> open_unverified(Bytes file, const std::string& name);

// SHA-256 over the manifest's digest, then key id and signature of each signature in the order of the file.
// Every byte of the file follows from it: the framing is a function of manifest and signatures, and the
// contents are named by their digests.
Sha256 compute_seal_digest(const Sha256& identity, const std::vector<PrefixSignature>& signatures);

}  // namespace calseal
