#include "calseal/check/open.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/entries.h"
#include "calseal/bundle/prefix.h"
#include "calseal/check/stored.h"
#include "calseal/map/read.h"

namespace calseal {
namespace {

constexpr const char* kStepNames[] = {"prefix",      "signature",  "manifest", "framing",   "stored-digests",
                                      "trust",       "withdrawal", "sequence", "clock",     "contents",
                                      "set",         "match",      "claims",   "freshness", "rebuild",
                                      "confinement", "checksums"};

Status claim_error(const std::string& name, const std::string& place, const std::string& found,
                   const std::string& expected) {
  return fail(
      {Reason::kClaimMismatch, name, place, found, expected, "do not use this bundle; tell the shop"});
}

Status check_map_claims(const OpenedBundle& opened) {
  const ManifestController& controller = opened.manifest.controller();
  const RegionMap& map = opened.map;
  if (map.controller != controller.name) {
    return claim_error(opened.name, "controllers/0/name", controller.name,
                       map.controller + " as in the region map");
  }
  if (map.name != controller.map_name || map.version != controller.map_version ||
      map.grade() != controller.map_grade) {
    return claim_error(
        opened.name, "controllers/0/region_map",
        controller.map_name + " version " + std::to_string(controller.map_version) + ", " +
            controller.map_grade,
        map.name + " version " + std::to_string(map.version) + ", " + map.grade() + " as in the region map");
  }
  if (map.memories.size() != controller.memories.size()) {
    return claim_error(opened.name, "controllers/0/memories",
                       std::to_string(controller.memories.size()) + " memories",
                       std::to_string(map.memories.size()) + " memories as in the region map");
  }
  for (std::size_t m = 0; m < map.memories.size(); ++m) {
    if (map.memories[m].name != controller.memories[m].name ||
        map.memories[m].extent != controller.memories[m].extent) {
      return claim_error(
          opened.name, "controllers/0/memories/" + std::to_string(m),
          controller.memories[m].name + " " + range_text(controller.memories[m].extent),
          map.memories[m].name + " " + range_text(map.memories[m].extent) + " as in the region map");
    }
  }
  return {};
}

Status check_set(const OpenedBundle& opened) {
  const Manifest& manifest = opened.manifest;
  const ManifestController& controller = manifest.controller();
  const SetMember* member = opened.set->find(controller.name);
  const SetMember own{controller.name, manifest.base_number, manifest.sequence, controller.map_digest,
                      controller.pinned_after};
  if (opened.set->job != manifest.job || member == nullptr || *member != own) {
    return claim_error(
        opened.name, std::string(kSetName), "a set that this bundle is no member of",
        "a member with this bundle's controller, base, sequence, region map and pinned digest");
  }
  return {};
}

Result<std::vector<Bytes>> read_payload(const OpenedBundle& opened) {
  std::vector<Bytes> payload;
  for (const PayloadPart& part : opened.manifest.controller().payload) {
    CALSEAL_ASSIGN(Bytes content,
                   read_content(opened.file, opened.framing, opened.manifest, part.entry, opened.name));
    payload.push_back(std::move(content));
  }
  return payload;
}

// Everything behind the stored digests: region map, changes, set, payload, attachments.
// `parsed`: a region map that was parsed before; the same text is not parsed again.
Status read_contents(OpenedBundle& opened, const RegionMap* parsed = nullptr) {
  const std::string map_entry = "regions/" + opened.manifest.controller().name + ".json";
  CALSEAL_ASSIGN(Bytes map_text,
                 read_content(opened.file, opened.framing, opened.manifest, map_entry, opened.name));
  if (parsed != nullptr && parsed->text == map_text) {
    opened.map = *parsed;
  } else {
    CALSEAL_ASSIGN(opened.map, parse_region_map(std::move(map_text), opened.name + ":" + map_entry));
  }
  CALSEAL_CHECK(check_map_claims(opened));
  CALSEAL_ASSIGN(const Bytes changes,
                 read_content(opened.file, opened.framing, opened.manifest, kChangesName, opened.name));
  CALSEAL_ASSIGN(opened.changes, parse_changes(changes, opened.name + ":" + std::string(kChangesName)));
  if (opened.manifest.set) {
    CALSEAL_ASSIGN(const Bytes set,
                   read_content(opened.file, opened.framing, opened.manifest, kSetName, opened.name));
    CALSEAL_ASSIGN(opened.set, parse_set(set, opened.name + ":" + std::string(kSetName)));
    CALSEAL_CHECK(check_set(opened));
  }
  CALSEAL_ASSIGN(opened.payload, read_payload(opened));
  for (const ManifestAttachment& attachment : opened.manifest.attachments) {
    const ManifestEntry* const entry = opened.manifest.find_entry(attachment.entry);
    const auto index = static_cast<std::size_t>(entry - opened.manifest.entries.data());
    CALSEAL_CHECK(verify_content(opened.file, opened.framing, opened.manifest, index, opened.name));
  }
  return {};
}

// Steps 9 and 10: order in time.
Status judge_order(OpenedBundle& opened, const OpenContext& context, std::vector<Step>& steps) {
  if (context.order == nullptr) return {};
  const OrderEvidence& evidence = *context.order;
  CALSEAL_CHECK(
      noted(steps, "withdrawal",
            judge_withdrawal(opened.manifest, opened.digest, evidence, opened.name, opened.cautions)));
  CALSEAL_ASSIGN(
      opened.passage,
      noted(steps, "sequence", judge_sequence(opened.manifest, opened.digest, evidence, opened.name)));
  return noted(steps, "clock",
               judge_clock(opened.manifest, context.now, evidence, opened.name, opened.cautions));
}

}  // namespace

void mark_step(std::vector<Step>& steps, std::string_view name, StepState state) {
  for (Step& step : steps) {
    if (step.name == name) step.state = state;
  }
}

std::vector<Step> all_steps() {
  std::vector<Step> steps;
  for (const char* name : kStepNames) steps.push_back({name, StepState::kNotReached});
  return steps;
}

Result<OpenedBundle> open_sealed(Bytes file, const std::string& name, const OpenContext& context,
                                 std::vector<Step>& steps) {
  OpenedBundle opened;
  opened.name = name;
  opened.file = std::move(file);
  const TrustFile& trust = *context.trust;
  CALSEAL_ASSIGN(const BundlePrefix prefix, noted(steps, "prefix", read_prefix(opened.file, name)));
  CALSEAL_ASSIGN(const Signers signers,
                 noted(steps, "signature", verify_prefix_signatures(prefix, trust, name)));
  CALSEAL_ASSIGN(opened.manifest, noted(steps, "manifest", parse_manifest(prefix.manifest, name)));
  if (context.on_manifest) context.on_manifest(opened.manifest);
  opened.digest = compute_sha256(prefix.manifest);
  CALSEAL_ASSIGN(opened.framing,
                 noted(steps, "framing", verify_framing(opened.file, prefix, opened.manifest, name)));
  CALSEAL_CHECK(noted(steps, "stored-digests",
                      verify_stored_digests(opened.file, opened.framing, opened.manifest, name)));
  Status judged = judge_trust(opened.manifest, opened.digest, signers, trust, context.inclusion, name);
  if (!judged && judged.error().reason == Reason::kRolesMissing &&
      context.roles == RolesRule::kMayBeMissing) {
    opened.incomplete = true;
    judged = Status();
  }
  CALSEAL_CHECK(noted(steps, "trust", judged));
  for (const TrustedKey* key : signers) {
    opened.signers.push_back(key->name + (key->compromised ? " (key compromised since)" : ""));
  }
  CALSEAL_CHECK(judge_order(opened, context, steps));
  CALSEAL_CHECK(noted(steps, "contents", read_contents(opened)));
  return opened;
}

Result<OpenedBundle> open_contents(Bytes file, StoredBundle stored, const std::string& name,
                                   const RegionMap* parsed) {
  OpenedBundle opened;
  opened.name = name;
  opened.file = std::move(file);
  opened.manifest = *std::move(stored.manifest);
  opened.digest = stored.digest;
  opened.framing = *std::move(stored.framing);
  opened.incomplete = stored.incomplete;
  CALSEAL_CHECK(read_contents(opened, parsed));
  return opened;
}

Result<OpenedBundle> open_unverified(Bytes file, const std::string& name) {
  OpenedBundle opened;
  opened.name = name;
  opened.file = std::move(file);
  CALSEAL_ASSIGN(const BundlePrefix prefix, read_prefix(opened.file, name));
  CALSEAL_ASSIGN(opened.manifest, parse_manifest(prefix.manifest, name));
  opened.digest = compute_sha256(prefix.manifest);
  CALSEAL_ASSIGN(opened.framing, verify_framing(opened.file, prefix, opened.manifest, name));
  CALSEAL_CHECK(verify_stored_digests(opened.file, opened.framing, opened.manifest, name));
  CALSEAL_CHECK(read_contents(opened));
  for (const PrefixSignature& signature : prefix.signatures)
    opened.signers.push_back(digest_text(signature.key_id));
  return opened;
}

void lay_payload(const OpenedBundle& opened, Image& image, const std::vector<RangeSet>* only) {
  const std::vector<PayloadPart>& parts = opened.manifest.controller().payload;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const std::size_t index = opened.map.memory_index(parts[i].memory);
    Memory& memory = image.memories[index];
    ByteView rest = opened.payload[i];
    for (const Range& range : parts[i].ranges) {
      for (const Range& part : (only == nullptr ? RangeSet(range) : (*only)[index].within(range)).ranges()) {
        const ByteView bytes = rest.subspan(static_cast<std::size_t>(part.begin - range.begin),
                                            static_cast<std::size_t>(part.size()));
        std::ranges::copy(bytes, memory.span(part).begin());
        memory.known.add(part);
      }
      rest = rest.subspan(static_cast<std::size_t>(range.size()));
    }
  }
}

ByteView carried_bytes(const OpenedBundle& opened, const NamedRange& place) {
  const std::vector<PayloadPart>& parts = opened.manifest.controller().payload;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    if (parts[i].memory != place.memory) continue;
    std::uint64_t at = 0;
    for (const Range& range : parts[i].ranges) {
      if (range.contains(place.range)) {
        return ByteView(opened.payload[i])
            .subspan(static_cast<std::size_t>(at + (place.range.begin - range.begin)),
                     static_cast<std::size_t>(place.range.size()));
      }
      at += range.size();
    }
  }
  return {};
}

Image image_of_base(const OpenedBundle& opened) {
  const std::vector<PayloadPart>& parts = opened.manifest.controller().payload;
  Image image;
  std::vector<RangeSet> rest;  // of payloads that are not a whole memory
  for (const MemoryDeclaration& memory : opened.map.memories) {
    const auto part = std::ranges::find_if(parts, [&](const PayloadPart& each) {
      return each.memory == memory.name && each.ranges == std::vector{memory.extent};
    });
    if (part == parts.end()) {
      image.memories.push_back(make_memory(memory.name, memory.extent, memory.fill));
      rest.emplace_back(memory.extent);
      continue;
    }
    const Bytes& bytes = opened.payload[static_cast<std::size_t>(part - parts.begin())];
    image.memories.push_back({memory.name, memory.extent, bytes, RangeSet(memory.extent)});
    rest.emplace_back();
  }
  lay_payload(opened, image, &rest);
  return image;
}

}  // namespace calseal
