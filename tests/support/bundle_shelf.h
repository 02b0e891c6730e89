// Made-up bundles in a folder, drawn from few words so that many of them fit any question. Nothing in them is
// signed truly, and their region maps say no more than the names of fields and items.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "support/outside_tools.h"
#include "support/random.h"
#include "support/sample_bundle.h"

namespace calseal {

struct ShelvedBundle {
  std::string path;  // within the folder
  Manifest manifest;
  Sha256 digest;  // of the manifest
  std::vector<Sha256> signers;
  std::vector<Change> changes;
  std::vector<std::string> items;  // of its region map, that a change touches
};

// A region map for the memories of the sample bundle, with two items; maps of two versions differ.
inline std::string shelf_map(int version) {
  return R"({"calseal":"region-map/1","name":"shelf","controller":"engine","version":)" +
         std::to_string(version) +
         R"(,"memories":[{"name":"flash","origin":"0x80000000","size":256},{"name":"eeprom","origin":"0x00000000","size":32}],)"
         R"("regions":[],"identity":[)"
         R"({"name":"software","kind":"software-number","memory":"flash","at":"0x80000000","size":8,"encoding":"ascii"},)"
         R"({"name":"mark","kind":"other","memory":"flash","at":"0x80000008","size":8,"encoding":"ascii"}],)"
         R"("items":[{"name":"idle-speed","kind":"scalar","memory":"flash","start":"0x80000040","type":"u16"},)"
         R"({"name":"limit","kind":"scalar","memory":"flash","start":"0x80000050","type":"u16"}],)"
         R"("evidence":{"author":"tests","verified_on":[],"guesses":[],"grade":"draft"}})";
}

inline bool touches(const std::vector<Change>& changes, std::uint64_t first) {
  for (const Change& change : changes) {
    for (std::uint64_t at = change.place.range.begin; at < change.place.range.end; ++at) {
      if (change.place.memory == "flash" && (at == first || at == first + 1)) return true;
    }
  }
  return false;
}

inline const std::string& one_of(Random& random, const std::vector<std::string>& words) {
  return words[random.between(0, words.size() - 1)];
}

// What a bundle may say, each of a few words.
struct ShelfWords {
  std::vector<std::string> jobs{"oak-17", "elm-4", "oak-170"}, controllers{"engine", "transmission"};
  std::vector<std::string> vehicles{"blue 7", "blue", "", "%"}, numbers{"SW1", "SW2", "x' OR '1'='1"};
  std::vector<std::string> options{"launch", "flat-foot", "la_nch"}, items{"idle-speed", "limit"};
  std::vector<std::string> regions{"idle", "fuel", ""}, maps{shelf_map(1), shelf_map(2)},
      files{"f", "g", "h"};
};

// Keeps the contents of a sample, under the names that a controller of another name asks for.
inline void set_entries(SampleBundle& sample, const std::string& controller, const std::string& map,
                        const std::vector<Change>& changes) {
  const SampleBundle before = sample;
  sample.manifest.entries.clear();
  sample.contents.clear();
  sample.stored.clear();
  for (std::size_t i = 0; i < before.manifest.entries.size(); ++i) {
    const ManifestEntry& entry = before.manifest.entries[i];
    const std::string file = entry.name.substr(entry.name.rfind('/') + 1);
    if (entry.name.starts_with("regions/")) {
      add_sample_entry(sample, "regions/" + controller + ".json", bytes_of(map));
    } else if (entry.name == kChangesName) {
      add_sample_entry(sample, entry.name, bytes_of(write_changes(changes)));
    } else {
      add_sample_entry(sample,
                       entry.name.starts_with("payload/") ? "payload/" + controller + "/" + file : entry.name,
                       before.contents[i], entry.deflated ? before.stored[i] : Bytes());
    }
  }
  ManifestController& c = sample.manifest.controllers[0];
  c.name = controller;
  c.map_digest = digest_of(map);
  for (PayloadPart& part : c.payload) part.entry = "payload/" + controller + "/" + part.memory + ".bin";
}

inline std::vector<Change> drawn_changes(Random& random, const ShelfWords& words) {
  std::vector<Change> changes;
  for (std::uint64_t at = 0x80000040; at < 0x80000060;) {
    const std::uint64_t begin = at + random.between(0, 12), end = begin + random.between(1, 8);
    if (end > 0x80000060) break;
    if (random.coin()) changes.push_back({{"flash", {begin, end}}, one_of(random, words.regions), ""});
    at = end + 1;
  }
  return changes;
}

inline SampleBundle drawn_bundle(Random& random, const ShelfWords& words) {
  const bool first = random.between(0, 3) == 0;
  SampleBundle sample = first ? make_sample_base() : make_sample_bundle();
  Manifest& m = sample.manifest;
  m.job = one_of(random, words.jobs);
  m.base_number = random.between(1, 2);
  m.revision = first ? 0 : random.between(1, 3);
  m.sequence = m.revision + random.between(1, 3);
  if (!first || m.base_number > 1) m.parent = digest_of("parent");
  m.vehicle_reference = one_of(random, words.vehicles);
  ManifestController& c = m.controllers[0];
  c.identity[0].text = one_of(random, words.numbers);
  c.identity[1].text = one_of(random, words.numbers);  // of another kind: no software number
  c.spans[0].before = c.spans[0].after = digest_of(random.coin() ? "l" : "L");
  c.pinned_before = compute_pinned_digest(c.spans, Side::kBefore);
  c.pinned_after = compute_pinned_digest(c.spans, Side::kAfter);
  if (first) c.files = {{"flash", "raw", 700, digest_of(one_of(random, words.files))}};
  m.ordered = {};
  m.options.clear();
  for (const std::string& name : words.options) {
    if (random.coin()) m.options.push_back({name, "An option", digest_of(name)});
  }
  sample.signatures.clear();
  for (const std::uint8_t key : Bytes{1, 2, 3}) {
    if (!random.coin() && (key != 3 || !sample.signatures.empty())) continue;
    PrefixSignature signature;
    signature.key_id.bytes.fill(key);
    signature.signature.fill(key);
    sample.signatures.push_back(signature);
  }
  const std::string controller = one_of(random, words.controllers);
  set_entries(sample, controller, one_of(random, words.maps), drawn_changes(random, words));
  return sample;
}

// A folder with bundles, and what was put there.
class Shelf {
 public:
  std::string folder() const { return scratch_.path("archive"); }

  void put(const std::string& path, const SampleBundle& sample) {
    ShelvedBundle one{path, sample.manifest, digest_of(write_manifest(sample.manifest)), {}, {}, {}};
    for (const PrefixSignature& signature : sample.signatures) one.signers.push_back(signature.key_id);
    const auto changes = parse_changes(sample.contents[1], "changes");
    if (!changes) std::abort();
    one.changes = *changes;
    if (touches(one.changes, 0x80000040)) one.items.emplace_back("idle-speed");
    if (touches(one.changes, 0x80000050)) one.items.emplace_back("limit");
    write(path, assemble(sample));
    std::erase_if(bundles, [&](const ShelvedBundle& other) { return other.path == path; });
    bundles.push_back(std::move(one));
  }
  void write(const std::string& path, ByteView bytes) const {
    std::filesystem::create_directories(std::filesystem::path(folder() + "/" + path).parent_path());
    scratch_.put("archive/" + path, bytes);
  }
  void take_away(const std::string& path) {
    std::filesystem::remove(folder() + "/" + path);
    std::erase_if(bundles, [&](const ShelvedBundle& one) { return one.path == path; });
  }

  std::vector<ShelvedBundle> bundles;

 private:
  ScratchFolder scratch_;
};

}  // namespace calseal
