#include "calseal/sign/seal.h"

#include "calseal/api/given.h"
#include "calseal/api/seal.h"
#include "calseal/base/text.h"
#include "calseal/sign/next_revision.h"

namespace calseal::api {
namespace {

// The trust file that `signing` points to is kept beside it.
struct Hand {
  TrustFile trust;
  Signing signing;
};

Result<std::unique_ptr<Hand>> hand_of(const Shop& shop) {
  auto hand = std::make_unique<Hand>();
  CALSEAL_ASSIGN(hand->trust, parse_trust_file(shop.trust.bytes, "", printable(shop.trust.name)));
  Signing& signing = hand->signing;
  signing.trust = &hand->trust;
  signing.trust_file = named(shop.trust);
  signing.tool = shop.tool;
  signing.now = current_time();
  if (!shop.claimed_time.empty()) {
    const auto time = parse_time(shop.claimed_time);
    if (!time) {
      return fail({Reason::kUsage, "", "claimed_time", "\"" + printable(shop.claimed_time, 80) + "\"",
                   "a time in UTC, like 2026-01-31T12:00:00Z", "write it so, or leave it empty"});
    }
    signing.now = *time;
  }
  SigningKeys keys;
  for (const SigningKey& key : shop.keys) keys.emplace_back(key.inside());
  signing.keys = [keys] { return keys; };
  return hand;
}

void state(const Words& words, RevisionStatement& said) {
  said.title = words.title;
  said.notes = words.notes;
  said.requirements = words.requirements;
  said.cautions = words.cautions;
  said.expires = words.expires;
}

Result<Sealed> seal_request(const SealRequest& request, const Signing& signing) {
  CALSEAL_ASSIGN(SealedBundle made, calseal::seal(request, signing.keys, *signing.trust));
  return Sealed{std::move(made.file),       made.digest,    made.manifest.revision, made.manifest.sequence,
                made.proof.changed_bytes(), made.incomplete};
}

}  // namespace

Result<SigningKey> SigningKey::open(const File& pem, std::string_view passphrase) {
  CALSEAL_ASSIGN(PrivateKey key, PrivateKey::from_encrypted_pem(pem.bytes, passphrase, printable(pem.name)));
  return SigningKey(std::make_shared<const PrivateKey>(std::move(key)));
}

Result<Sealed> seal(const BaseRequest& request, const Shop& shop) {
  CALSEAL_ASSIGN(const auto hand, hand_of(shop));
  CALSEAL_ASSIGN(const std::optional<Bytes> salt, salt_of(request.salt));
  CALSEAL_ASSIGN(const Read read, load_read(request.map.inside(), read_files(request.read)));
  BaseStatement said;
  said.job = request.job;
  said.vehicle_reference = request.vehicle_reference;
  SealRequest next = request_for_base(request.map.inside(), read, said, RevisionPlace{}, hand->signing);
  state(request.words, next.statement);
  next.salt = salt;
  return seal_request(next, hand->signing);
}

Result<Sealed> seal(const RevisionRequest& request, const Shop& shop) {
  CALSEAL_ASSIGN(const auto hand, hand_of(shop));
  CALSEAL_ASSIGN(const std::optional<Bytes> salt, salt_of(request.salt));
  CALSEAL_ASSIGN(const OpenedBundle base, open_issued(named(request.base), hand->signing));
  CALSEAL_CHECK(require_salt_of(base.manifest, salt, request.salt ? printable(request.salt->name) : "",
                                "give the job's salt file"));
  std::optional<OpenedBundle> parent;
  if (request.parent) {
    CALSEAL_ASSIGN(parent, open_issued(named(*request.parent), hand->signing));
  }
  CALSEAL_ASSIGN(RevisionPlace place, place_on(base, parent ? &*parent : nullptr, base.map));
  SealRequest next = request_on(base, base.map, std::move(place), hand->signing);
  CALSEAL_CHECK(lay_result(next, read_files(request.edited)));
  if (request.correct) CALSEAL_CHECK(correct_result(next));
  state(request.words, next.statement);
  next.salt = salt;
  return seal_request(next, hand->signing);
}

}  // namespace calseal::api
