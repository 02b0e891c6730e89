#include "calseal/bundle/manifest_consistency.h"

#include <algorithm>
#include <array>
#include <set>

#include "calseal/base/range_set.h"
#include "calseal/base/text.h"
#include "calseal/base/utc_time.h"
#include "calseal/bundle/changes.h"
#include "calseal/bundle/pinned_digest.h"
#include "calseal/bundle/set_descriptor.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/map/region_map.h"

namespace calseal {
namespace {

std::string item_of(const std::string& list, std::size_t index) { return list + "/" + std::to_string(index); }

std::string place_of(const NamedRange& place) { return place.memory + " " + range_text(place.range); }

// Strictly ascending by `key`.
template <typename List, typename Key>
bool is_ascending(const List& list, Key key) {
  for (std::size_t i = 1; i < list.size(); ++i) {
    if (!(key(list[i - 1]) < key(list[i]))) return false;
  }
  return true;
}

template <typename List>
bool names_are_unique(const List& list) {
  std::set<std::string_view> names;
  return std::all_of(list.begin(), list.end(),
                     [&](const auto& item) { return names.insert(item.name).second; });
}

// Ascending, with at least one byte between two.
bool is_normal(const std::vector<Range>& ranges) {
  for (std::size_t i = 1; i < ranges.size(); ++i) {
    if (ranges[i].begin <= ranges[i - 1].end) return false;
  }
  return true;
}

// One memory and what the spans say about its bytes.
struct MemoryAccount {
  RangeSet known;
  RangeSet areas;     // known editable and derived bytes
  RangeSet pinned;    // known locked, editable and derived bytes
  RangeSet binding;   // bytes of binding spans
  RangeSet writable;  // known, not volatile
};

// Rule 10, of `ordered`.
std::optional<EntryFault> find_order_fault(const Manifest& manifest) {
  const ManifestOrdered& ordered = manifest.ordered;
  if (ordered.time.empty() && (ordered.parcel || !ordered.options.empty()))
    return EntryFault{"/ordered", "an order without a time", "when the shop noted it"};
  if (!is_ascending(ordered.options, [](const OrderedOption& one) { return one.name; }))
    return EntryFault{"/ordered/options", "names out of order or twice", "ascending names, each once"};
  for (std::size_t i = 0; i < ordered.options.size(); ++i) {
    const OrderedOption& one = ordered.options[i];
    const auto in = std::ranges::find(manifest.options, one.name, &ManifestOption::name);
    const std::string pointer = item_of("/ordered/options", i);
    const bool is_in = in != manifest.options.end();
    if (is_in && !one.why.empty())
      return EntryFault{pointer + "/why", printable(one.why, 100), "nothing: it is in this revision"};
    if (!is_in && one.why.empty())
      return EntryFault{pointer + "/why", "nothing", "why it is not in this revision"};
    if (is_in && one.title != in->title)
      return EntryFault{pointer + "/title", printable(one.title, 100), printable(in->title, 100)};
  }
  return std::nullopt;
}

class Consistency {
 public:
  Consistency(const Manifest& manifest, const std::string& name)
      : manifest_(manifest),
        controller_(manifest.controller()),
        name_(name),
        accounts_(controller_.memories.size()) {}

  Status check() {
    CALSEAL_CHECK(check_head());
    CALSEAL_CHECK(check_memories());
    CALSEAL_CHECK(check_spans());
    CALSEAL_CHECK(check_pinned());
    CALSEAL_CHECK(check_binding());
    CALSEAL_CHECK(check_claims());
    CALSEAL_CHECK(check_write_ranges());
    CALSEAL_CHECK(check_payload());
    CALSEAL_CHECK(check_first_revision());
    CALSEAL_CHECK(check_words());
    CALSEAL_CHECK(check_entry_sizes());
    return check_entry_list();
  }

 private:
  using Failure = tl::unexpected<Error>;

  Failure refuse(const std::string& pointer, std::string found, std::string expected) const {
    if (found.empty()) found = "an empty text";  // as it stands in the manifest
    return fail({Reason::kManifestInvalid, name_, pointer, std::move(found), std::move(expected),
                 "do not use this bundle; ask its sender for a new one"});
  }
  Failure refuse_controller(const std::string& pointer, std::string found, std::string expected) const {
    return refuse("/controllers/0" + pointer, std::move(found), std::move(expected));
  }

  std::size_t memory_index(std::string_view memory) const {
    const auto& memories = controller_.memories;
    return static_cast<std::size_t>(
        std::find_if(memories.begin(), memories.end(),
                     [&](const ManifestMemory& one) { return one.name == memory; }) -
        memories.begin());
  }
  // The index of the memory that holds the whole range, or nothing.
  std::optional<std::size_t> home_of(const NamedRange& place) const {
    const std::size_t index = memory_index(place.memory);
    if (index == accounts_.size() || !controller_.memories[index].extent.contains(place.range))
      return std::nullopt;
    return index;
  }

  Status check_head() const {
    const bool first = manifest_.revision == 0 && manifest_.base_number == 1;
    if (manifest_.sequence < manifest_.revision + 1) {
      return refuse("/sequence", std::to_string(manifest_.sequence),
                    "at least the revision's number and one");
    }
    if (!manifest_.parent && !first)
      return refuse("/parent", "no parent", "the manifest digest of the parent");
    if (manifest_.trial == manifest_.expires.empty()) {
      return refuse("/expires", manifest_.trial ? "no time" : manifest_.expires,
                    "a time exactly for a trial");
    }
    if (manifest_.trial && manifest_.revision == 0)
      return refuse("/trial", "true", "false for revision 0, the way back");
    if (manifest_.trial && parse_time(manifest_.expires) <= parse_time(manifest_.claimed_time)) {
      return refuse("/expires", manifest_.expires, "a time after " + manifest_.claimed_time);
    }
    if (manifest_.required_roles.empty() || manifest_.required_roles[0] != "author" ||
        !is_ascending(manifest_.required_roles, [](const std::string& role) { return role; })) {
      return refuse("/required_roles", "another list", "author, or author and reviewer");
    }
    return {};
  }

  Status check_memories() {
    if (controller_.memories.empty()) return refuse_controller("/memories", "no memory", "at least one");
    if (!names_are_unique(controller_.memories))
      return refuse_controller("/memories", "one name twice", "each name once");
    std::uint64_t total = 0;
    for (std::size_t i = 0; i < controller_.memories.size(); ++i) {
      const ManifestMemory& memory = controller_.memories[i];
      const std::string pointer = item_of("/memories", i);
      total += memory.extent.size();
      if (!is_normal(memory.known)) {
        return refuse_controller(pointer + "/known", "ranges out of order, overlapping or adjacent",
                                 "ascending ranges with unknown bytes between them");
      }
      for (const Range& range : memory.known) {
        if (!memory.extent.contains(range)) {
          return refuse_controller(pointer + "/known", range_text(range),
                                   "inside " + range_text(memory.extent));
        }
        accounts_[i].known.add(range);
      }
    }
    if (total > kImageLimit) {
      return refuse_controller("/memories", grouped(total) + " bytes together",
                               "at most " + grouped(kImageLimit));
    }
    return {};
  }

  // Memory after memory, the spans leave no byte out and name none twice.
  Status check_spans() {
    std::size_t memory = 0;
    std::uint64_t at = controller_.memories[0].extent.begin;
    for (std::size_t i = 0; i < controller_.spans.size(); ++i) {
      const ManifestSpan& span = controller_.spans[i];
      if (at == controller_.memories[memory].extent.end && memory + 1 < accounts_.size()) {
        at = controller_.memories[++memory].extent.begin;
      }
      const ManifestMemory& home = controller_.memories[memory];
      if (span.place.memory != home.name || span.place.range.begin != at ||
          span.place.range.end > home.extent.end) {
        return refuse_controller(item_of("/spans", i), place_of(span.place),
                                 "a span inside " + home.name + " that begins at " + address_text(at));
      }
      at = span.place.range.end;
      CALSEAL_CHECK(check_span(i, accounts_[memory]));
    }
    if (memory + 1 != accounts_.size() || at != controller_.memories.back().extent.end) {
      return refuse_controller("/spans",
                               "no span at " + controller_.memories[memory].name + " " + address_text(at),
                               "spans over every byte of every memory");
    }
    return {};
  }

  Status check_span(std::size_t index, MemoryAccount& account) const {
    const ManifestSpan& span = controller_.spans[index];
    const Range& range = span.place.range;
    const bool known = account.known.contains(range);
    if (!known && account.known.overlaps(range)) {
      return refuse_controller(item_of("/spans", index), place_of(span.place) + ", partly known",
                               "a cut where known and unknown bytes meet");
    }
    const bool pinned = known && is_pinned(span.kind);
    if (span.before.has_value() != pinned || span.after.has_value() != pinned) {
      return refuse_controller(
          item_of("/spans", index), pinned ? "a digest is missing" : "a digest",
          pinned ? "digests before and after" : "no digest on bytes that are not pinned");
    }
    if (span.kind == SpanKind::kLocked && pinned && !a_patch_changes() && span.before != span.after) {
      return refuse_controller(item_of("/spans", index), "locked bytes that changed",
                               "equal digests where no patch changes");
    }
    if (pinned) account.pinned.add(range);
    if (pinned && span.kind != SpanKind::kLocked) account.areas.add(range);
    if (span.kind == SpanKind::kBinding) account.binding.add(range);
    if (known && span.kind != SpanKind::kVolatile) account.writable.add(range);
    return {};
  }

  bool a_patch_changes() const {
    return std::ranges::any_of(controller_.patches,
                               [](const ManifestPatch& patch) { return patch.in_base != patch.in_result; });
  }

  Status check_pinned() const {
    const std::array<std::pair<Side, const Sha256*>, 2> sides{
        {{Side::kBefore, &controller_.pinned_before}, {Side::kAfter, &controller_.pinned_after}}};
    for (const auto& [side, stated] : sides) {
      const Sha256 computed = compute_pinned_digest(controller_.spans, side);
      if (computed == *stated) continue;
      return refuse_controller(side == Side::kBefore ? "/pinned/before" : "/pinned/after",
                               digest_text(*stated), digest_text(computed) + ", as the spans give it");
    }
    return {};
  }

  // Binding fields and binding spans are the same bytes.
  Status check_binding() const {
    if (!names_are_unique(controller_.binding))
      return refuse_controller("/binding", "one name twice", "each name once");
    std::vector<RangeSet> fields(accounts_.size());
    for (std::size_t i = 0; i < controller_.binding.size(); ++i) {
      const ManifestBinding& field = controller_.binding[i];
      const auto home = home_of(field.place);
      if (!home)
        return refuse_controller(item_of("/binding", i), place_of(field.place), "a range inside one memory");
      if (field.digest && !manifest_.salt_digest) {
        return refuse_controller(item_of("/binding", i) + "/digest", "a digest", "none without a salt");
      }
      if (field.digest && !accounts_[*home].known.contains(field.place.range)) {
        return refuse_controller(item_of("/binding", i) + "/digest", "a digest of unknown bytes", "none");
      }
      if (fields[*home].overlaps(field.place.range)) {
        return refuse_controller(item_of("/binding", i), place_of(field.place),
                                 "bytes of no other binding field");
      }
      fields[*home].add(field.place.range);
    }
    for (std::size_t i = 0; i < accounts_.size(); ++i) {
      if (fields[i] == accounts_[i].binding) continue;
      return refuse_controller("/binding",
                               "other bytes of " + controller_.memories[i].name + " than the binding spans",
                               "the same bytes");
    }
    return {};
  }

  // What is only compared later must at least be well formed: identity, files, checksums, patches.
  Status check_claims() const {
    if (!names_are_unique(controller_.identity))
      return refuse_controller("/identity", "one name twice", "each name once");
    if (!names_are_unique(controller_.patches))
      return refuse_controller("/patches", "one name twice", "each name once");
    std::size_t next_memory = 0;
    for (std::size_t i = 0; i < controller_.files.size(); ++i) {
      // A file that holds several memories names none, and stands before those that do.
      if (controller_.files[i].memory.empty() && next_memory == 0) continue;
      const std::size_t memory = memory_index(controller_.files[i].memory);
      if (memory == accounts_.size() || memory < next_memory) {
        return refuse_controller(item_of("/files", i), controller_.files[i].memory,
                                 "memories in order, each at most once");
      }
      next_memory = memory + 1;
    }
    if (manifest_.revision != 0) CALSEAL_CHECK(check_rebuilt_files());
    for (std::size_t i = 0; i < controller_.checksums.size(); ++i) {
      const ManifestChecksum& checksum = controller_.checksums[i];
      if (checksum.state != CheckState::kNotProvable || checksum.value.empty()) continue;
      return refuse_controller(item_of("/checksums", i), "a value that is not provable", "an empty text");
    }
    return {};
  }

  // Only where every byte is pinned is the file the same in every vehicle.
  Status check_rebuilt_files() const {
    const bool all_pinned = std::ranges::all_of(
        controller_.spans, [](const ManifestSpan& span) { return span.after.has_value(); });
    const std::size_t expected = all_pinned ? controller_.memories.size() : 0;
    if (controller_.files.size() != expected) {
      return refuse_controller("/files", std::to_string(controller_.files.size()) + " files",
                               all_pinned ? "one for each memory" : "none, since not every byte is pinned");
    }
    for (std::size_t i = 0; i < expected; ++i) {
      const ManifestFile& file = controller_.files[i];
      const ManifestMemory& memory = controller_.memories[i];
      if (file.memory == memory.name && file.form == "raw" && file.size == memory.extent.size()) continue;
      return refuse_controller(item_of("/files", i),
                               file.memory + ", " + file.form + ", " + grouped(file.size),
                               memory.name + ", raw, " + grouped(memory.extent.size()));
    }
    return {};
  }

  Status check_write_ranges() const {
    std::size_t memory = 0;
    std::uint64_t end = 0;
    for (std::size_t i = 0; i < controller_.write_ranges.size(); ++i) {
      const NamedRange& place = controller_.write_ranges[i];
      const auto home = home_of(place);
      if (!home)
        return refuse_controller(item_of("/write_ranges", i), place_of(place), "a range inside one memory");
      if (*home < memory || (*home == memory && place.range.begin < end)) {
        return refuse_controller(item_of("/write_ranges", i), place_of(place),
                                 "memories in order, ranges ascending");
      }
      if (!accounts_[*home].writable.contains(place.range)) {
        return refuse_controller(item_of("/write_ranges", i),
                                 place_of(place) + ", partly volatile or unknown",
                                 "known bytes that are not volatile");
      }
      memory = *home;
      end = place.range.end;
    }
    return {};
  }

  // What each part must hold: everything known in revision 0; later all that is pinned (full) or all that may
  // have changed, and pinned bytes only (areas). Volatile, floating and binding bytes travel in revision 0
  // alone.
  Status check_payload() const {
    std::vector<bool> covered(accounts_.size(), false);
    std::size_t next_memory = 0;
    for (std::size_t i = 0; i < controller_.payload.size(); ++i) {
      const PayloadPart& part = controller_.payload[i];
      const std::string pointer = item_of("/payload/parts", i);
      const std::size_t memory = memory_index(part.memory);
      if (memory == accounts_.size() || memory < next_memory) {
        return refuse_controller(pointer + "/memory", part.memory, "memories in order, each at most once");
      }
      next_memory = memory + 1;
      covered[memory] = true;
      if (part.ranges.empty() || !is_normal(part.ranges)) {
        return refuse_controller(pointer + "/ranges",
                                 "no range, or ranges out of order, overlapping or adjacent",
                                 "ascending ranges with other bytes between them");
      }
      CALSEAL_CHECK(check_part(pointer, part, accounts_[memory]));
    }
    for (std::size_t i = 0; i < accounts_.size(); ++i) {
      const RangeSet& needed = least_of(accounts_[i]);
      if (covered[i] || needed.empty()) continue;
      return refuse_controller("/payload/parts", "no part for " + controller_.memories[i].name,
                               "a part for each memory with bytes");
    }
    return {};
  }

  Status check_part(const std::string& pointer, const PayloadPart& part, const MemoryAccount& account) const {
    RangeSet ranges;
    for (const Range& range : part.ranges) ranges.add(range);
    if (controller_.payload_kind == PayloadKind::kFull) {
      if (ranges == least_of(account)) return {};
      return refuse_controller(pointer + "/ranges", "other bytes than a full payload has",
                               manifest_.revision == 0 ? "every known byte" : "every pinned byte");
    }
    if (ranges.intersect(account.pinned) != ranges) {
      return refuse_controller(pointer + "/ranges", "bytes that are not pinned", "pinned bytes only");
    }
    if (account.areas.intersect(ranges) != account.areas) {
      return refuse_controller(pointer + "/ranges", "an editable or derived byte is missing", "all of them");
    }
    return {};
  }

  // The bytes of one memory that the payload cannot do without.
  const RangeSet& least_of(const MemoryAccount& account) const {
    if (controller_.payload_kind == PayloadKind::kAreas) return account.areas;
    return manifest_.revision == 0 ? account.known : account.pinned;
  }

  Status check_first_revision() const {
    if (manifest_.revision != 0) return {};
    if (controller_.payload_kind != PayloadKind::kFull)
      return refuse_controller("/payload/kind", "areas", "full for revision 0");
    for (std::size_t i = 0; i < controller_.spans.size(); ++i) {
      if (controller_.spans[i].before == controller_.spans[i].after) continue;
      return refuse_controller(item_of("/spans", i), "another digest after than before",
                               "equal digests in revision 0");
    }
    for (std::size_t i = 0; i < controller_.patches.size(); ++i) {
      if (controller_.patches[i].in_base == controller_.patches[i].in_result) continue;
      return refuse_controller(item_of("/patches", i), "another state in the result than in the base",
                               "equal ones in revision 0");
    }
    if (!manifest_.ordered.time.empty())
      return refuse("/ordered/time", manifest_.ordered.time, "no order in revision 0");
    return {};
  }

  Status check_words() const {
    if (!is_ascending(manifest_.permitted_returns, [](const Sha256& digest) { return digest; })) {
      return refuse("/permitted_returns", "digests out of order or twice", "ascending digests, each once");
    }
    if (!names_are_unique(manifest_.options)) return refuse("/options", "one name twice", "each name once");
    if (auto fault = find_order_fault(manifest_)) return refuse(fault->place, fault->found, fault->expected);
    for (std::size_t i = 0; i < manifest_.attachments.size(); ++i) {
      const std::string& entry = manifest_.attachments[i].entry;
      if (is_attachment_entry(entry)) continue;
      return refuse(item_of("/attachments", i) + "/entry",
                    entry.empty() ? "an empty name" : printable(entry, 100),
                    "attachments/ and a plain file name");
    }
    if (!is_ascending(manifest_.attachments, [](const ManifestAttachment& one) { return one.entry; })) {
      return refuse("/attachments", "entries out of order or twice", "ascending entry names, each once");
    }
    return {};
  }

  Status check_entry_sizes() const {
    std::optional<EntryFault> fault = find_entry_fault(manifest_.entries);
    if (!fault) return {};
    return refuse(std::move(fault->place), std::move(fault->found), std::move(fault->expected));
  }

  // The list that follows from the other fields is the list of entries, name by name.
  Status check_entry_list() {
    CALSEAL_CHECK(expect("regions/" + controller_.name + ".json", Form::kPlain, kRegionMapSizeLimit,
                         &controller_.map_digest));
    CALSEAL_CHECK(expect(std::string(kChangesName), Form::kAny, kChangesSizeLimit, nullptr));
    if (manifest_.set)
      CALSEAL_CHECK(expect(std::string(kSetName), Form::kPlain, kSetSizeLimit, &*manifest_.set));
    for (std::size_t i = 0; i < controller_.payload.size(); ++i) {
      const PayloadPart& part = controller_.payload[i];
      const std::string wanted = "payload/" + controller_.name + "/" + part.memory + ".bin";
      if (part.entry != wanted)
        return refuse_controller(item_of("/payload/parts", i) + "/entry", printable(part.entry, 160), wanted);
      CALSEAL_CHECK(expect(wanted, Form::kAny, kEntrySizeLimit, nullptr));
      std::uint64_t size = 0;
      for (const Range& range : part.ranges) size += range.size();
      const std::uint64_t listed = manifest_.entries[at_ - 1].size;
      if (listed != size) {
        return refuse(item_of("/entries", at_ - 1) + "/size", grouped(listed),
                      grouped(size) + ", the sum of its ranges");
      }
    }
    for (const ManifestAttachment& attachment : manifest_.attachments) {
      CALSEAL_CHECK(expect(attachment.entry, Form::kAny, kEntrySizeLimit, nullptr));
    }
    if (at_ == manifest_.entries.size()) return {};
    return refuse(item_of("/entries", at_), printable(manifest_.entries[at_].name, 160), "no further entry");
  }

  enum class Form : std::uint8_t { kPlain, kAny };

  Status expect(const std::string& entry_name, Form form, std::uint64_t size_limit, const Sha256* digest) {
    const std::string pointer = item_of("/entries", at_);
    if (at_ == manifest_.entries.size()) return refuse(pointer, "the end of the list", entry_name);
    const ManifestEntry& entry = manifest_.entries[at_];
    if (entry.name != entry_name) {
      const std::string found = entry.name.empty() ? "an empty name" : printable(entry.name, 160);
      return refuse(pointer + "/name", found, entry_name);
    }
    if (form == Form::kPlain && entry.deflated) return refuse(pointer + "/method", "deflated", "stored");
    if (entry.size > size_limit)
      return refuse(pointer + "/size", grouped(entry.size), "at most " + grouped(size_limit));
    if (digest != nullptr && entry.digest != *digest) {
      return refuse(pointer + "/digest", digest_text(entry.digest),
                    digest_text(*digest) + ", as stated above");
    }
    ++at_;
    return {};
  }

  const Manifest& manifest_;
  const ManifestController& controller_;
  const std::string& name_;
  std::vector<MemoryAccount> accounts_;
  std::size_t at_ = 0;  // next of manifest_.entries
};

}  // namespace

std::optional<EntryFault> find_entry_fault(const std::vector<ManifestEntry>& entries) {
  std::uint64_t total = 0;
  for (std::size_t i = 0; i < entries.size(); ++i) {
    const ManifestEntry& entry = entries[i];
    total += entry.size;
    if (!entry.deflated) {
      if (entry.stored_size == entry.size && entry.stored_digest == entry.digest) continue;
      return EntryFault{item_of("/entries", i), "stored bytes that differ from the content",
                        "the same size and digest"};
    }
    if (entry.stored_size < entry.size && entry.size <= entry.stored_size * kInflationLimit) continue;
    return EntryFault{item_of("/entries", i),
                      grouped(entry.stored_size) + " bytes deflated from " + grouped(entry.size),
                      "fewer bytes than the content has, and no more than 1,032 to 1"};
  }
  if (total <= kContentSizeLimit) return std::nullopt;
  return EntryFault{"/entries", grouped(total) + " bytes of content",
                    "at most " + grouped(kContentSizeLimit)};
}

bool is_attachment_entry(std::string_view entry_name) {
  constexpr std::string_view kFolder = "attachments/";
  constexpr std::string_view kAllowed = "abcdefghijklmnopqrstuvwxyz0123456789._-";
  if (!entry_name.starts_with(kFolder)) return false;
  const std::string_view file = entry_name.substr(kFolder.size());
  if (file.empty() || file.size() > 100 || file.find_first_not_of(kAllowed) != std::string_view::npos)
    return false;
  if (file[0] == '.' || file[0] == '_' || file[0] == '-' || file.back() == '.') return false;
  if (file.find("..") != std::string_view::npos) return false;
  // Names that some file systems take for devices, whatever follows the first dot.
  const std::string_view stem = file.substr(0, file.find('.'));
  if (stem == "con" || stem == "prn" || stem == "aux" || stem == "nul") return false;
  return !(stem.size() == 4 && (stem.starts_with("com") || stem.starts_with("lpt")) && stem[3] >= '1' &&
           stem[3] <= '9');
}

Status check_manifest_consistency(const Manifest& manifest, const std::string& name) {
  if (manifest.controllers.size() != 1) {
    return fail({Reason::kManifestInvalid, name, "/controllers",
                 std::to_string(manifest.controllers.size()) + " controllers", "exactly one",
                 "do not use this bundle; ask its sender for a new one"});
  }
  return Consistency(manifest, name).check();
}

}  // namespace calseal
