#include "calseal/check/open.h"

#include "calseal/bundle/entries.h"
#include "calseal/check/contents.h"
#include "calseal/check/rules.h"

namespace calseal {
namespace {

// Stage 3, step "trust". Nobody vouches when only roles are missing and that may be.
Result<std::optional<Vouching>> judge_seal(const SignedManifest& sealed, const OpenContext& context,
                                           const std::string& name) {
  Result<Vouching> judged =
      vouch_for(sealed.manifest, sealed.digest, sealed.signers, *context.trust, context.inclusion, name);
  if (judged) return *std::move(judged);
  const bool may_pass =
      judged.error().reason == Reason::kRolesMissing && context.roles == RolesRule::kMayBeMissing;
  if (may_pass) return std::nullopt;
  return fail(std::move(judged).error());
}

// Steps 9 and 10: order in time.
Status judge_order(OpenedBundle& opened, const OpenContext& context, std::vector<Step>& steps) {
  if (context.order == nullptr) return {};
  const OrderEvidence& evidence = *context.order;
  CALSEAL_CHECK(
      noted(steps, "withdrawal",
            judge_withdrawal(opened.manifest, opened.digest, evidence, opened.name, opened.cautions)));
  CALSEAL_ASSIGN(opened.passage, noted(steps, "sequence",
                                       judge_sequence(opened.manifest, opened.digest, evidence, opened.name,
                                                      opened.cautions)));
  return noted(steps, "clock",
               judge_clock(opened.manifest, context.now, evidence, opened.name, opened.cautions));
}

OpenedBundle begin_opened(Bytes file, const std::string& name) {
  OpenedBundle opened;
  opened.name = name;
  opened.file = std::move(file);
  return opened;
}

}  // namespace

Result<SignedManifest> open_signed(ByteView beginning, const std::string& name, const TrustFile* trust,
                                   std::vector<Step>& steps) {
  SignedManifest sealed;
  CALSEAL_ASSIGN(sealed.prefix, noted(steps, "prefix", read_prefix(beginning, name)));
  if (trust != nullptr) {
    CALSEAL_ASSIGN(sealed.signers,
                   noted(steps, "signature", verify_prefix_signatures(sealed.prefix, *trust, name)));
  }
  CALSEAL_ASSIGN(sealed.manifest, noted(steps, "manifest", parse_manifest(sealed.prefix.manifest, name)));
  sealed.digest = compute_sha256(sealed.prefix.manifest);
  return sealed;
}

Result<Framing> open_stored(ByteView file, const SignedManifest& sealed, const std::string& name,
                            std::vector<Step>& steps) {
  CALSEAL_ASSIGN(Framing framing,
                 noted(steps, "framing", verify_framing(file, sealed.prefix, sealed.manifest, name)));
  CALSEAL_CHECK(noted(steps, "stored-digests", verify_stored_digests(file, framing, sealed.manifest, name)));
  return framing;
}

Result<OpenedBundle> open_sealed(Bytes file, const std::string& name, const OpenContext& context,
                                 std::vector<Step>& steps) {
  OpenedBundle opened = begin_opened(std::move(file), name);
  CALSEAL_ASSIGN(SignedManifest sealed, open_signed(opened.file, name, context.trust, steps));
  CALSEAL_ASSIGN(opened.framing, open_stored(opened.file, sealed, name, steps));
  CALSEAL_ASSIGN(const std::optional<Vouching> vouching,
                 noted(steps, "trust", judge_seal(sealed, context, name)));
  opened.incomplete = !vouching;
  if (vouching) opened.vouching = *vouching;
  for (const TrustedKey* key : sealed.signers)
    opened.signers.push_back(key->name + (key->compromised ? " (key compromised since)" : ""));
  opened.manifest = std::move(sealed.manifest);
  opened.digest = sealed.digest;
  CALSEAL_CHECK(judge_order(opened, context, steps));
  CALSEAL_CHECK(noted(steps, "contents", read_contents(opened)));
  if (context.order != nullptr) {
    CALSEAL_CHECK(noted(steps, "rules", judge_rules(opened, *context.order)));
  }
  return opened;
}

Result<OpenedBundle> open_unverified(Bytes file, const std::string& name) {
  OpenedBundle opened = begin_opened(std::move(file), name);
  std::vector<Step> steps = all_steps();
  CALSEAL_ASSIGN(SignedManifest sealed, open_signed(opened.file, name, nullptr, steps));
  CALSEAL_ASSIGN(opened.framing, open_stored(opened.file, sealed, name, steps));
  for (const PrefixSignature& signature : sealed.prefix.signatures)
    opened.signers.push_back(digest_text(signature.key_id));
  opened.manifest = std::move(sealed.manifest);
  opened.digest = sealed.digest;
  CALSEAL_CHECK(read_contents(opened));
  return opened;
}

Status PassingBundle::open(ByteView beginning) {
  std::vector<Step> steps = all_steps();
  CALSEAL_ASSIGN(sealed_, open_signed(beginning, name_, context_.trust, steps));
  const std::vector<PrefixSignature>& signatures = sealed_.prefix.signatures;
  stored_.digest = sealed_.digest;
  stored_.seal_digest = compute_seal_digest(sealed_.digest, signatures);
  for (const PrefixSignature& signature : signatures) stored_.signers.push_back(signature.key_id);
  stored_.manifest = sealed_.manifest;
  stored_.framing = compute_framing(sealed_.prefix.manifest, signatures, sealed_.manifest);
  passing_.emplace(*stored_.framing, *stored_.manifest, name_, streams_);
  passing_->take(beginning);
  return {};
}

void PassingBundle::begin(ByteView beginning) {
  if (Status status = open(beginning); !status) stored_.reason = std::move(status).error();
}

void PassingBundle::take(ByteView piece) {
  if (passing_) passing_->take(piece);
}

Status PassingBundle::judge(const Status& read) {
  CALSEAL_CHECK(read);
  CALSEAL_CHECK(passing_->finish());
  CALSEAL_ASSIGN(const std::optional<Vouching> vouching, judge_seal(sealed_, context_, name_));
  stored_.incomplete = !vouching;
  return {};
}

StoredBundle PassingBundle::finish(const Status& read) {
  if (!stored_.reason) {
    if (Status status = judge(read); !status) stored_.reason = std::move(status).error();
  }
  passing_.reset();
  return std::move(stored_);
}

StoredBundle open_whole(ByteView file, const std::string& name, const OpenContext& context) {
  Sha256Streams streams;
  PassingBundle passing(name, context, streams);
  passing.begin(file);
  return passing.finish();
}

Result<OpenedBundle> open_contents(Bytes file, StoredBundle stored, const std::string& name,
                                   const RegionMap* parsed) {
  OpenedBundle opened = begin_opened(std::move(file), name);
  opened.manifest = *std::move(stored.manifest);
  opened.digest = stored.digest;
  opened.framing = *std::move(stored.framing);
  opened.incomplete = stored.incomplete;
  CALSEAL_CHECK(read_contents(opened, parsed));
  return opened;
}

Sha256 compute_seal_digest(const Sha256& identity, const std::vector<PrefixSignature>& signatures) {
  Sha256Hasher hasher;
  hasher.update(identity.bytes);
  for (const PrefixSignature& signature : signatures) {
    hasher.update(signature.key_id.bytes);
    hasher.update(signature.signature);
  }
  return hasher.finish();
}

}  // namespace calseal
