// What a holder of a listed key can seal with ill will: a good bundle bent in manifest, contents, region map
// or framing, then signed again by fixed keys, so that the layers behind the signature are reached. Whatever
// the checker accepts is judged byte by byte from the bundle's own region map.
#include "calseal/bundle/pinned_digest.h"
#include "calseal/check/claims.h"
#include "calseal/map/plan.h"
#include "fuzz/accepted_property.h"
#include "fuzz/bend_json.h"
#include "fuzz/fuzz_target.h"
#include "support/bent_bundle.h"
#include "support/forgery.h"

namespace calseal {
namespace {

enum class What : std::uint8_t {
  kManifest,   // one value of the manifest's JSON
  kRegionMap,  // one value of the region map's; digests follow
  kChanges,    // one value of changes.json; digests follow
  kContent,    // bytes of one entry; digests follow
  kStored,     // stored bytes of one entry; their digest follows, the content's does not
  kDescribe,   // spans, ranges, checks and texts of the manifest are made anew from map and bytes
  kPinned,     // pinned digests of the manifest are made anew
  kSigners,    // other keys sign, or a signature is false
  kFile,       // one byte of the finished file
  kLength,     // the finished file is cut or prolonged
  kRead,       // one byte of the read
  kEvidence,   // what the person gives
  kFrame,      // one header says something else
  kCount,
};

// A good bundle in its parts and the question about it; each run bends copies.
struct Prepared {
  const SmallJob* job;
  SealedBundle sealed;
  Forgery forgery;
  BentBundle bundle;
  std::vector<PackedEntry> packed;  // of forgery.contents
  CheckRequest question;
};

Prepared prepare(const SmallJob& job, Result<SealedBundle> sealed) {
  must(sealed.has_value(), "the samples seal");
  Prepared out{
      &job, *sealed, take_apart(*sealed), BentBundle(*sealed), {}, job.check_request(sealed->file, job.base)};
  for (std::size_t i = 0; i < out.bundle.stored.size(); ++i)
    out.packed.push_back({out.sealed.manifest.entries[i], out.bundle.stored[i]});
  return out;
}

struct Samples {
  SmallJob whole, loose{{.sectors = false, .floating_reads_fuel = false, .binding = false, .grade = "draft"}};
  std::vector<Prepared> all;

  Samples() {
    for (const SmallJob* job : {&whole, &loose}) {
      all.push_back(prepare(*job, job->seal_base()));
      SealRequest request = job->request(1, edited_small(job->base, 0x21, job->options));
      all.push_back(prepare(*job, seal(request, {job->author}, job->trust)));
      request.payload = PayloadKind::kFull;
      request.statement.attachments = {{"notes.txt", "Notes", Bytes(200, 'n')}};
      all.push_back(prepare(*job, seal(request, {job->author, job->reviewer}, job->trust)));
      request.payload = PayloadKind::kAreas;
      request.statement.expires = "2026-05-01T00:00:00Z";
      request.statement.required_roles = {"author", "reviewer"};
      request.statement.permitted_returns = {compute_sha256(view_of("earlier"))};
      request.statement.annotations = {{"dyno", "run 7"}};
      all.push_back(prepare(*job, seal(request, {job->author, job->reviewer}, job->trust)));
    }
    for (const Prepared& sample : all) {
      CheckRequest request = sample.question;
      request.evidence.vehicle_reference = "blue estate";
      must(check_bundle(std::move(request)).outcome == Outcome::kAccepted, "the samples are accepted");
    }
  }
};

const Samples& samples() {
  static const Samples all;
  return all;
}

class Bending {
 public:
  explicit Bending(const Recipe& recipe)
      : recipe_(recipe),
        sample_(samples().all[recipe.first % samples().all.size()]),
        forgery_(sample_.forgery),
        bundle_(sample_.bundle),
        read_(sample_.job->base) {
    const auto kind = recipe.second % 4;
    if (kind == 1) read_ = driven_small(read_, 0x77, sample_.job->options);
    if (kind == 2) read_ = edited_small(read_, 0x12, sample_.job->options);
  }

  void run() {
    bend_parts();
    pack();
    bend_manifest();
    sign();
    Bytes file = bundle_.file();
    const bool forged = bend_file(file);
    CheckRequest request = sample_.question;
    request.bundle = std::move(file);
    request.read = SmallJob::files_of(read_);
    bend_evidence(request);
    const Bytes bundle = request.bundle;
    const std::vector<ReadFile> files = request.read;
    const Verdict verdict = check_bundle(std::move(request));
    if (forged) must(verdict.outcome == Outcome::kRefused, "what nobody signed is refused");
    if (false_signature_) must(verdict.outcome == Outcome::kRefused, "a false signature is refused");
    if (stranger_) must(verdict.outcome == Outcome::kRefused, "a stranger's signature is refused");
    check_verdict(verdict, bundle, files);
  }

 private:
  template <typename Act>
  void each(What what, Act act) {
    for (const Bend& bend : recipe_.of(what)) act(bend);
  }

  Bytes* content(std::string_view prefix) {
    for (std::size_t i = 0; i < forgery_.contents.size(); ++i) {
      if (forgery_.manifest.entries[i].name.starts_with(prefix)) return &forgery_.contents[i];
    }
    return nullptr;
  }

  static void bend_bytes(Bytes& bytes, const Bend& bend) {
    const std::size_t at = bytes.empty() ? 0 : bend.where % bytes.size();
    const auto spot = bytes.begin() + static_cast<std::ptrdiff_t>(at);
    switch (bend.how % 4) {
      case 0:
      case 1:
        if (!bytes.empty()) bytes[at] = static_cast<std::uint8_t>(bend.value >> 8U);
        break;
      case 2:
        bytes.insert(spot, 1 + bend.value % 16, static_cast<std::uint8_t>(bend.value >> 8U));
        break;
      default:
        bytes.erase(spot, spot + static_cast<std::ptrdiff_t>(
                                     std::min<std::size_t>(1 + bend.value % 16, bytes.size() - at)));
    }
  }

  void bend_parts() {
    each(What::kContent, [&](const Bend& bend) {
      bend_bytes(forgery_.contents[(bend.value & 7U) % forgery_.contents.size()], bend);
    });
    if (const auto bends = recipe_.of(What::kRegionMap); !bends.empty()) {
      Bytes& map = *content("regions/");
      map = bytes_of(bent_json(std::string(text_of(map)), bends));
      forgery_.controller().map_digest = compute_sha256(map);
    }
    if (const auto bends = recipe_.of(What::kChanges); !bends.empty()) {
      Bytes& changes = *content("changes.json");
      changes = bytes_of(bent_json(std::string(text_of(changes)), bends));
    }
    each(What::kDescribe, [&](const Bend& bend) { describe(bend); });
    each(What::kPinned, [&](const Bend&) {
      ManifestController& controller = forgery_.controller();
      controller.pinned_before = compute_pinned_digest(controller.spans, Side::kBefore);
      controller.pinned_after = compute_pinned_digest(controller.spans, Side::kAfter);
    });
  }

  static Bytes bytes_of(const std::string& text) { return {text.begin(), text.end()}; }

  // Lies consistently: everything that is computed follows the bent region map and the payload's bytes.
  void describe(const Bend& bend) {
    const auto map = parse_region_map(*content("regions/"), "map");
    if (!map) return;
    const auto read = load_read(*map, SmallJob::files_of(sample_.job->base));
    if (!read) return;
    const auto plan = make_plan(*map, read->image);
    if (!plan) return;
    ManifestController& c = forgery_.controller();
    Image result = read->image;
    const auto parts = describe_payload(*plan, read->image, c.payload_kind, forgery_.manifest.revision);
    if (bend.how % 2 == 0) lay(parts, result);
    c.name = map->controller;
    c.map_name = map->name;
    c.map_version = map->version;
    c.map_grade = map->grade();
    c.memories = describe_memories(*plan, read->image);
    c.spans = describe_spans(*plan, read->image);
    digest_spans(c.spans, read->image, Side::kBefore);
    digest_spans(c.spans, result, Side::kAfter);
    c.pinned_before = compute_pinned_digest(c.spans, Side::kBefore);
    c.pinned_after = compute_pinned_digest(c.spans, Side::kAfter);
    c.write_ranges = describe_write_ranges(*plan, read->image);
    c.payload = parts;
    c.identity.clear();
    const auto texts = describe_identity(*plan, result);
    for (const IdentityField& field : map->identity) {
      if (!field.binds) c.identity.push_back({field.name, texts[c.identity.size()]});
    }
    c.checksums.clear();
    for (const CheckOutcome& check : verify_checks(*plan, result))
      c.checksums.push_back({check.name, check.state, describe_check(check)});
    c.patches.clear();
    for (const PermittedPatch& patch : map->patches) {
      c.patches.push_back({patch.name, is_applied(patch, read->image), is_applied(patch, result)});
    }
    *content("changes.json") = bytes_of(
        write_changes(describe_changes(*plan, read->image, compare_images(*plan, read->image, result))));
    // The payload's own bytes; what is missing or too much is filled or cut.
    for (const PayloadPart& part : parts) {
      Bytes bytes;
      for (const Range& range : part.ranges) {
        const ByteView view = result.find(part.memory)->view(range);
        bytes.insert(bytes.end(), view.begin(), view.end());
      }
      if (Bytes* entry = content(part.entry)) *entry = bytes;
    }
  }

  void lay(const std::vector<PayloadPart>& parts, Image& image) {
    for (const PayloadPart& part : parts) {
      const Bytes* bytes = content(part.entry);
      std::size_t at = 0;
      for (const Range& range : part.ranges) {
        Memory& memory = *image.find(part.memory);
        for (std::uint8_t& byte : memory.span(range)) {
          if (bytes != nullptr && at < bytes->size()) byte = (*bytes)[at];
          ++at;
        }
      }
    }
  }

  void pack() {
    for (std::size_t i = 0; i < forgery_.contents.size(); ++i) {
      const std::string& name = forgery_.manifest.entries[i].name;
      PackedEntry packed = sample_.packed[i];
      if (forgery_.contents[i] != sample_.forgery.contents[i]) {
        const bool stored = name.starts_with("regions/") || name == kSetName;
        packed = *pack_entry(name, forgery_.contents[i], stored ? Packing::kStored : Packing::kSmallest);
      }
      forgery_.manifest.entries[i] = packed.entry;
      bundle_.entries[i] = {name, packed.entry.deflated, packed.entry.stored_size, packed.entry.size,
                            packed.entry.crc32};
      bundle_.stored[i] = std::move(packed.stored);
    }
    each(What::kStored, [&](const Bend& bend) {
      const std::size_t i = (bend.value & 7U) % bundle_.stored.size();
      bend_bytes(bundle_.stored[i], bend);
      forgery_.manifest.entries[i].stored_size = bundle_.entries[i].stored_size = bundle_.stored[i].size();
      forgery_.manifest.entries[i].stored_digest = compute_sha256(bundle_.stored[i]);
    });
  }

  void bend_manifest() {
    bundle_.manifest = write_manifest(forgery_.manifest);
    if (const auto bends = recipe_.of(What::kManifest); !bends.empty()) {
      bundle_.manifest = bent_json(bundle_.manifest, bends);
      follow_manifest();
    }
    each(What::kFrame, [&](const Bend& bend) {
      FramedEntry& entry = bundle_.entries[bend.where % bundle_.entries.size()];
      if (bend.how % 4 == 0) entry.deflated = !entry.deflated;
      if (bend.how % 4 == 1) entry.size ^= bend.value;
      if (bend.how % 4 == 2) entry.crc32 ^= bend.value;
      if (bend.how % 4 == 3) bend_string(entry.name, bend);
    });
  }

  // Headers say what the manifest now says of entries, where it can be read at all.
  void follow_manifest() {
    const auto manifest = parse_manifest(view_of(bundle_.manifest), "m");
    if (!manifest) return;
    for (std::size_t i = 0; i < manifest->entries.size() && i < bundle_.entries.size(); ++i) {
      const ManifestEntry& e = manifest->entries[i];
      bundle_.entries[i] = {e.name, e.deflated, e.stored_size, e.size, e.crc32};
      bundle_.stored[i].resize(std::min<std::uint64_t>(e.stored_size, 1U << 16U));
      bundle_.entries[i].stored_size = bundle_.stored[i].size();
    }
  }

  void sign() {
    unsigned who = sample_.sealed.manifest.required_roles.size() > 1 ? 3 : 1;
    each(What::kSigners, [&](const Bend& bend) { who = bend.how % 8; });
    stranger_ = (who & 4U) != 0;
    const SmallJob& job = *sample_.job;
    SigningKeys keys;
    if ((who & 1U) != 0) keys.emplace_back(job.author);
    if ((who & 2U) != 0) keys.emplace_back(job.reviewer);
    if ((who & 4U) != 0) keys.emplace_back(job.stranger);
    bundle_.sign(keys);
    std::ranges::sort(bundle_.signatures, {}, &PrefixSignature::key_id);
    const std::vector<PrefixSignature> honest = bundle_.signatures;
    each(What::kSigners, [&](const Bend& bend) {
      if ((bend.how & 8U) == 0 || honest.empty()) return;
      PrefixSignature& signature = bundle_.signatures[bend.value % honest.size()];
      signature.signature[bend.where % kSignatureSize] ^= static_cast<std::uint8_t>(bend.value >> 8U);
    });
    false_signature_ = bundle_.signatures != honest;
  }

  // True when the file is no longer what was signed.
  bool bend_file(Bytes& file) {
    const Bytes was = file;
    each(What::kFile, [&](const Bend& bend) {
      file[(bend.where | static_cast<std::size_t>(bend.how & 1U) << 16U) % file.size()] ^=
          static_cast<std::uint8_t>(bend.value);
    });
    each(What::kLength, [&](const Bend& bend) {
      if (bend.how % 2 == 0) {
        file.resize(std::max<std::size_t>(1, file.size() - std::min<std::size_t>(bend.where, file.size())));
      } else {
        file.resize(file.size() + bend.where % 4096, static_cast<std::uint8_t>(bend.value));
      }
    });
    return file != was;
  }

  void bend_evidence(CheckRequest& request) {
    each(What::kRead, [&](const Bend& bend) {
      Bytes& bytes = request.read[bend.how % request.read.size()].bytes;
      bytes[bend.where % bytes.size()] ^= static_cast<std::uint8_t>(bend.value);
    });
    each(What::kEvidence, [&](const Bend& bend) {
      if ((bend.value & 1U) != 0) request.evidence.read_is_fresh = false;
      if ((bend.value & 2U) != 0) request.evidence.salt.reset();
      if ((bend.value & 4U) != 0) request.evidence.vehicle_reference = "blue estate";
      if ((bend.value & 8U) != 0 && !request.read.empty()) request.read.pop_back();
      if ((bend.value & 16U) != 0) request.seal_only = true;
      if ((bend.value & 32U) != 0) request.revive = true;
      if ((bend.value & 64U) != 0) request.read.clear();
      if ((bend.value & 128U) != 0) request.now = *parse_time("2027-01-01T00:00:00Z");
    });
  }

  const Recipe& recipe_;
  const Prepared& sample_;
  Forgery forgery_;
  BentBundle bundle_;
  SmallImage read_;
  bool stranger_ = false;
  bool false_signature_ = false;
};

}  // namespace
}  // namespace calseal

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const calseal::Recipe recipe(data, size);
  calseal::Bending(recipe).run();
  return 0;
}
