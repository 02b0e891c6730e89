#include "calseal/sign/seal.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/changes.h"
#include "calseal/bundle/pinned_digest.h"
#include "calseal/check/cautions.h"
#include "calseal/check/check.h"
#include "calseal/check/claims.h"
#include "calseal/check/proof.h"
#include "calseal/digest/sha256_many.h"
#include "calseal/sign/believe_base.h"
#include "calseal/sign/seal_account.h"
#include "calseal/sign/seal_rules.h"

namespace calseal {
namespace {

// Entries ready for the file, and the manifest that lists them.
struct Draft {
  Manifest manifest;
  std::vector<PackedEntry> entries;

  Status add(std::string name, ByteView content, Packing packing) {
    CALSEAL_ASSIGN(PackedEntry packed, pack_entry(std::move(name), content, packing));
    manifest.entries.push_back(packed.entry);
    entries.push_back(std::move(packed));
    return {};
  }
};

void state(const RevisionStatement& said, Manifest& manifest) {
  manifest.job = said.job;
  manifest.base_number = said.base_number;
  manifest.base_reason = said.base_reason;
  manifest.revision = said.revision;
  manifest.sequence = said.sequence;
  manifest.parent = said.parent;
  manifest.claimed_time = time_text(said.claimed_time);
  manifest.trial = !said.expires.empty();
  manifest.expires = said.expires;
  manifest.required_roles = said.required_roles;
  std::ranges::sort(manifest.required_roles);
  manifest.title = said.title;
  manifest.notes = said.notes;
  manifest.vehicle_reference = said.vehicle_reference;
  manifest.permitted_returns = said.permitted_returns;
  std::ranges::sort(manifest.permitted_returns);
  manifest.options = said.options;
  manifest.ordered = said.ordered;
  manifest.requirements = said.requirements;
  manifest.cautions = said.cautions;
  manifest.annotations = said.annotations;
  manifest.tool = said.tool;
}

// What the manifest cannot prove stands among its cautions, before the shop's own words.
void state_limits(const RegionMap& map, Manifest& manifest) {
  std::vector<std::string> limits;
  for (Caution& caution : cautions_of(manifest, map)) {
    if (std::ranges::find(manifest.cautions, caution.text) == manifest.cautions.end())
      limits.push_back(std::move(caution.text));
  }
  manifest.cautions.insert(manifest.cautions.begin(), limits.begin(), limits.end());
}

std::vector<ManifestBinding> describe_binding(const SealRequest& request) {
  std::vector<ManifestBinding> bindings;
  for (const IdentityField& field : request.map->identity) {
    if (!field.binds) continue;
    ManifestBinding binding{
        field.name, {request.map->memories[field.place.memory].name, field.place.range}, std::nullopt};
    if (request.salt && field_says_something(field, request.base)) {
      binding.digest = salted_digest(*request.salt, *request.map, field, request.base);
    }
    bindings.push_back(std::move(binding));
  }
  return bindings;
}

// A plain digest of the whole file where nothing in it belongs to the vehicle. Record files have a layout of
// their own, so only raw ones can be foretold.
std::vector<ManifestFile> describe_files(const SealRequest& request, const std::vector<ManifestSpan>& spans) {
  if (request.statement.revision == 0) {
    std::vector<ManifestFile> received = request.files;
    const auto rank = [&](const ManifestFile& file) {
      return file.memory.empty() ? std::size_t{0} : 1 + request.map->memory_index(file.memory);
    };
    std::ranges::stable_sort(received, {}, rank);
    return received;
  }
  for (const ManifestSpan& span : spans) {
    if (!span.after) return {};
  }
  std::vector<ByteView> bytes;
  for (const Memory& memory : request.result.memories) bytes.emplace_back(memory.bytes);
  const std::vector<Sha256> digests = compute_sha256_of_each(bytes);
  std::vector<ManifestFile> files;
  for (std::size_t i = 0; i < bytes.size(); ++i)
    files.push_back({request.result.memories[i].name, "raw", bytes[i].size(), digests[i]});
  return files;
}

// All but what is hashed: spans and files.
ManifestController describe(const SealRequest& request, const Plan& plan, const Confinement& proof) {
  const RegionMap& map = *request.map;
  const std::uint64_t revision = request.statement.revision;
  ManifestController controller;
  controller.name = map.controller;
  controller.map_name = map.name;
  controller.map_version = map.version;
  controller.map_grade = map.grade();
  controller.map_digest = map.digest;
  controller.memories = describe_memories(plan, request.base);
  const std::vector<std::string> texts = describe_identity(plan, request.result);
  for (const IdentityField& field : map.identity) {
    if (!field.binds) controller.identity.push_back({field.name, texts[controller.identity.size()]});
  }
  controller.binding = describe_binding(request);
  for (const CheckOutcome& check : proof.checks)
    controller.checksums.push_back({check.name, check.state, describe_check(check)});
  for (std::size_t i = 0; i < map.patches.size(); ++i) {
    controller.patches.push_back(
        {map.patches[i].name, is_applied(map.patches[i], request.base), proof.patches_applied[i]});
  }
  controller.write_ranges = describe_write_ranges(plan, request.base);
  controller.payload_kind = revision == 0 ? PayloadKind::kFull : request.payload;
  controller.payload = describe_payload(plan, request.base, controller.payload_kind, revision);
  return controller;
}

void digest(const SealRequest& request, const Plan& plan, const Confinement& proof,
            ManifestController& controller) {
  controller.spans = describe_spans(plan, request.base);
  digest_spans(controller.spans, request.base, Side::kBefore);
  carry_unchanged_digests(controller.spans, *request.map, request.result, proof.changes);
  digest_spans(controller.spans, request.result, Side::kAfter);
  controller.pinned_before = compute_pinned_digest(controller.spans, Side::kBefore);
  controller.pinned_after = compute_pinned_digest(controller.spans, Side::kAfter);
  controller.files = describe_files(request, controller.spans);
}

Status add_contents(const SealRequest& request, const Plan& plan, const Confinement& proof, Draft& draft) {
  const ManifestController& controller = draft.manifest.controllers.front();
  CALSEAL_CHECK(draft.add("regions/" + controller.name + ".json", request.map->text, Packing::kStored));
  std::vector<Change> changed = describe_changes(plan, request.base, proof.changes);
  CALSEAL_CHECK(require_accounted(request, plan, draft.manifest, changed));
  const std::string changes = write_changes(changed);
  CALSEAL_CHECK(draft.add(std::string(kChangesName), view_of(changes), request.packing));
  if (request.statement.set) {
    const std::string set = write_set(*request.statement.set);
    draft.manifest.set = compute_sha256(view_of(set));
    CALSEAL_CHECK(draft.add(std::string(kSetName), view_of(set), Packing::kStored));
  }
  for (const PayloadPart& part : controller.payload) {
    Bytes content;
    for (const Range& range : part.ranges) {
      const ByteView view = request.result.find(part.memory)->view(range);
      content.insert(content.end(), view.begin(), view.end());
    }
    CALSEAL_CHECK(draft.add(part.entry, content, request.packing));
  }
  std::vector<const Attachment*> attachments;
  for (const Attachment& attachment : request.statement.attachments) attachments.push_back(&attachment);
  std::ranges::sort(attachments, {}, &Attachment::file);
  for (const Attachment* attachment : attachments) {
    const std::string entry = "attachments/" + attachment->file;
    draft.manifest.attachments.push_back({entry, attachment->title});
    CALSEAL_CHECK(draft.add(entry, attachment->content, request.packing));
  }
  return {};
}

// The checker's own judgement of what was just made, on the base that it was made from.
Status self_check(const SealRequest& request, const TrustFile& trust, SealedBundle& sealed) {
  std::vector<Step> steps = all_steps();
  OpenContext context;
  context.trust = &trust;
  context.now = request.statement.claimed_time;
  context.roles = RolesRule::kMayBeMissing;
  CALSEAL_ASSIGN(const OpenedBundle opened, open_sealed(sealed.file, "the new bundle", context, steps));
  sealed.digest = opened.digest;
  sealed.incomplete = opened.incomplete;
  Verdict verdict;
  const MatchEvidence evidence{true, request.salt, request.statement.vehicle_reference};
  Image base = request.base;
  const Result<Image> proved = prove(opened, base, evidence, ReadOrigin::kVehicle, verdict);
  if (proved) return {};
  if (proved.error().reason == Reason::kVehicleNotProvable) {
    return fail({Reason::kVehicleNotProvable, "", "vehicle_reference", "neither salt nor vehicle reference",
                 "one of the two, since without either nobody could ever accept this bundle",
                 "give the job's salt, or a vehicle reference"});
  }
  return fail(proved.error());
}

}  // namespace

Result<SealedBundle> seal(const SealRequest& request, const SigningKeys& keys, const TrustFile& trust) {
  CALSEAL_CHECK(check_signing_keys(keys));
  return seal(request, KeySource([&] { return keys; }), trust);
}

Result<SealedBundle> seal(const SealRequest& request, const KeySource& keys, const TrustFile& trust) {
  CALSEAL_ASSIGN(const Plan plan, make_plan(*request.map, request.base));
  const bool as_received = request.as_received && request.statement.revision == 0;
  const std::vector<CheckOutcome> base_checks = verify_checks(plan, request.base);
  CALSEAL_CHECK(as_received ? recognise_received(plan, request.base)
                            : believe_base(plan, request.base, base_checks));
  SealedBundle sealed;
  sealed.proof = prove_confinement(plan, request.base, request.result, base_checks);
  // Derived bytes that are wrong are what such a read came with; they stand in the manifest.
  if (as_received) {
    std::erase_if(sealed.proof.violations, [](const Error& violation) {
      return violation.reason == Reason::kDerivedWrong || violation.reason == Reason::kCopyOneSided;
    });
  }
  CALSEAL_CHECK(require_confined(sealed.proof));
  Draft draft;
  state(request.statement, draft.manifest);
  CALSEAL_CHECK(state_approvals(request, trust, draft.manifest));
  if (request.salt) draft.manifest.salt_digest = compute_sha256(*request.salt);
  draft.manifest.controllers.push_back(describe(request, plan, sealed.proof));
  CALSEAL_CHECK(add_contents(request, plan, sealed.proof, draft));
  digest(request, plan, sealed.proof, draft.manifest.controllers.front());
  state_limits(*request.map, draft.manifest);
  const std::string text = write_manifest(draft.manifest);
  if (text.size() > kManifestSizeLimit) {
    return fail({Reason::kManifestInvalid, "", "manifest", grouped(text.size()) + " bytes",
                 "at most " + grouped(kManifestSizeLimit) + " bytes",
                 "use fewer, larger regions in the region map"});
  }
  std::vector<PrefixSignature> signatures;
  CALSEAL_ASSIGN(const SigningKeys signing, keys());
  CALSEAL_CHECK(check_signing_keys(signing));
  for (const PrivateKey& key : signing) {
    // The self-check verifies it before the bundle leaves.
    CALSEAL_ASSIGN(const PrefixSignature signature, key.sign_unverified(view_of(text)));
    signatures.push_back(signature);
  }
  CALSEAL_ASSIGN(sealed.file,
                 write_bundle(draft.manifest, view_of(text), std::move(signatures), draft.entries));
  sealed.manifest = std::move(draft.manifest);
  CALSEAL_CHECK(self_check(request, trust, sealed));
  return sealed;
}

}  // namespace calseal
