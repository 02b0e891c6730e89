// Works on the map's text as a tree, so that notes, repetitions and everything it does not understand stay as
// they were: only addresses and sizes change.
#include "calseal/study/map_carry.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <functional>
#include <map>
#include <set>
#include <utility>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/change/context.h"
#include "calseal/map/identity.h"
#include "calseal/map/plan.h"
#include "calseal/study/checksum_places.h"
#include "calseal/study/map_places.h"
#include "calseal/study/map_text.h"

namespace calseal {
namespace {

constexpr std::uint64_t kMark = 48;        // bytes at either end of a place: enough to outweigh a neighbour
constexpr std::uint64_t kEndPadding = 16;  // bytes of one value at the end of a place that tell nothing
constexpr std::size_t kWays = 8;           // moves of other places that a checksum's are tried with
constexpr int kStayingBits = 12;          // of a checksum that holds where it was, nothing of it having moved
constexpr std::uint64_t kCopyLeast = 16;  // bytes of a copy that tell where it stands
constexpr std::uint64_t kBudget = std::uint64_t{4} << 30;  // bytes read in search of checksums

// A place of the text, and where it goes.
struct Spot {
  MapPlace place;
  std::optional<std::uint64_t> begin, end;  // where either end was found
  std::uint64_t content_end = 0;            // in the old image: where it ends but for padding
  Range to;
  PlaceFate fate = PlaceFate::kAssumed;
  std::uint64_t score = 0;
  bool sure = false;

  const Range& range() const { return place.range; }
  bool is(std::string_view section) const { return place.section == section; }
  bool is_slot() const { return place.role == "slots" || place.role == "balance"; }
  bool may_grow() const { return place.size != nullptr && !place.repeats && !is_slot() && !is("identity"); }
};

class Carrier {
 public:
  Carrier(const RegionMap& map, const Image* base, const Image& image, const std::string& name)
      : old_(map), base_(base), image_(image), name_(name) {}

  Result<MapCarry> run() {
    CALSEAL_ASSIGN(tree_, parse_json(text_of(ByteView(old_.text)), old_.name));
    for (MapPlace& place : places_of_text(tree_, old_)) {
      spots_.emplace_back();
      spots_.back().to = place.range;
      spots_.back().place = std::move(place);
    }
    if (base_ != nullptr) CALSEAL_CHECK(look_around());
    decide();
    checksums();
    doubt_unchecked();
    copies();
    propagate();
    identity_reads();
    settle_text();
    finish();
    return std::move(carry_);
  }

 private:
  // Both ends of every place, by the bytes around them.
  Status look_around() {
    CALSEAL_CHECK(make_plan(old_, *base_));
    for (std::size_t m = 0; m < old_.memories.size(); ++m) {
      std::vector<ContextGroup> groups;
      std::vector<std::pair<std::size_t, bool>> whose;
      for (std::size_t i = 0; i < spots_.size(); ++i) {
        if (spots_[i].place.memory != m) continue;
        const Range range = spots_[i].range();
        groups.push_back({{range.begin, range.begin + std::min(range.size(), kMark)}, {}});
        whose.emplace_back(i, false);
        if (range.size() <= 2 * kMark) continue;
        spots_[i].content_end = content_end(base_->memories[m], range);
        groups.push_back({{spots_[i].content_end - kMark, spots_[i].content_end}, {}});
        whose.emplace_back(i, true);
      }
      const auto matches = find_by_context(base_->memories[m], image_.memories[m], groups, {}, {});
      for (std::size_t g = 0; g < groups.size(); ++g) {
        const ContextMatch& match = matches[g];
        if (!match.found() || !match.alone()) continue;
        Spot& spot = spots_[whose[g].first];
        const std::uint64_t at = match.here.front().begin;
        if (whose[g].second) {
          const std::uint64_t padding = spot.range().end - spot.content_end;
          if (!is_padding(m, spot, {at + kMark, at + kMark + padding})) continue;
          spot.end = at + kMark + padding;
        } else {
          spot.begin = at;
        }
        spot.score = std::max(spot.score, match.here.front().score);
        moves_[m][groups[g].range.begin] = at - groups[g].range.begin;
      }
    }
    return {};
  }

  // Where padding begins that a place ends with; its end when there is none, or nothing else.
  static std::uint64_t content_end(const Memory& memory, Range range) {
    const ByteView bytes = memory.view(range);
    std::size_t size = bytes.size();
    while (size > 0 && bytes[size - 1] == bytes.back()) --size;
    const bool padded = bytes.size() - size >= kEndPadding && size >= 2 * kMark;
    return padded ? range.begin + size : range.end;
  }

  // Whether the new image has the place's padding there too.
  bool is_padding(std::size_t m, const Spot& spot, Range there) const {
    if (there.empty()) return true;
    const Memory& memory = image_.memories[m];
    if (there.end > memory.extent.end || !memory.knows(there)) return false;
    const std::uint8_t value = base_->memories[m].view({spot.content_end, spot.content_end + 1})[0];
    return std::ranges::all_of(memory.view(there), [&](std::uint8_t byte) { return byte == value; });
  }

  bool fits(const Spot& spot, Range to) const {
    const Range extent = old_.memories[spot.place.memory].extent;
    return to.begin >= extent.begin && to.begin < to.end && to.end <= extent.end;
  }

  // Moves are modulo 2^64, as addresses go down as well as up.
  static Range moved(Range range, std::uint64_t by) { return {range.begin + by, range.end + by}; }

  void settle(Spot& spot, Range to, PlaceFate fate) const {
    if (!fits(spot, to)) return;
    spot.to = to;
    spot.fate = fate;
  }

  void decide() {
    for (Spot& spot : spots_) {
      const Range range = spot.range();
      const bool is_short = range.size() <= 2 * kMark;
      const std::optional<std::uint64_t> by_begin =
          spot.begin ? std::optional(*spot.begin - range.begin) : std::nullopt;
      const std::optional<std::uint64_t> by_end =
          spot.end ? std::optional(*spot.end - range.end) : std::nullopt;
      if (by_begin && (is_short || by_end == by_begin)) {
        settle(spot, moved(range, *by_begin), PlaceFate::kFound);
      } else if (by_begin && by_end) {
        settle(spot, moved(range, *by_begin), PlaceFate::kUnequal);
        if (spot.may_grow()) settle(spot, {*spot.begin, *spot.end}, PlaceFate::kUnequal);
      } else if (by_begin || by_end) {
        settle(spot, moved(range, by_begin ? *by_begin : *by_end), PlaceFate::kOneEnd);
      } else if (const auto by = neighbours_moved(spot)) {
        settle(spot, moved(range, *by), PlaceFate::kNeighbours);
      }
      // Slots in a table look alike, whatever they are of; only their values tell.
      spot.sure = spot.fate == PlaceFate::kFound && !spot.is_slot() && !spot.is("checksums");
    }
  }

  // What the nearest found ends before and behind say, when they agree.
  std::optional<std::uint64_t> neighbours_moved(const Spot& spot) const {
    const auto moves = moves_.find(spot.place.memory);
    if (moves == moves_.end()) return std::nullopt;
    const auto after = moves->second.lower_bound(spot.range().begin);
    if (after == moves->second.begin() || after == moves->second.end()) return std::nullopt;
    const auto before = std::prev(after);
    return before->second == after->second ? std::optional(after->second) : std::nullopt;
  }

  std::vector<Spot*> spots_of(std::string_view section, std::size_t element) {
    std::vector<Spot*> found;
    for (Spot& spot : spots_) {
      if (spot.is(section) && spot.place.element == element) found.push_back(&spot);
    }
    return found;
  }

  // ---- places that a value tells

  void checksums() {
    const JsonValue* list = section_of_text(tree_, "checksums");
    if (list == nullptr) return;
    // Twice: what the first round made sure of, others may begin or end with.
    for (int round = 0; round < 2; ++round) {
      for (std::size_t i = 0; i < list->items.size(); ++i) checksum(i);
      if (base_ == nullptr) return;
      propagate();
    }
  }

  std::vector<const Checksum*> instances(const std::string& name) const {
    std::vector<const Checksum*> found;
    for (const Checksum& checksum : old_.checksums) {
      if (checksum.name == name || checksum.name.starts_with(name + "[")) found.push_back(&checksum);
    }
    return found;
  }

  void checksum(std::size_t element) {
    const std::vector<Spot*> spots = spots_of("checksums", element);
    // What was found once would be the first candidate now, and look likelier than it is.
    if (spots.empty() || spots.front()->fate == PlaceFate::kChecked) return;
    SoughtChecksum sought;
    sought.instances = instances(element_name(tree_, "checksums", element));
    std::vector<Spot*> coverage, substitutes, slots;
    for (Spot* spot : spots) {
      if (spot->is_slot()) {
        slots.push_back(spot);
        sought.slots.push_back(sought_place(*spot, false));
      } else if (spot->place.role == "substitute") {
        substitutes.push_back(spot);
        sought.substitutes.push_back(sought_place(*spot, false));
      } else {
        coverage.push_back(spot);
        sought.coverage.push_back(sought_place(*spot, spots.size() <= 4));
        sought.coverage.back().is_table = spot->place.size == nullptr;
      }
    }
    if (!is_whole(sought)) return;
    sought.every_end = base_ != nullptr && coverage.size() == 1 && coverage.front()->may_grow();
    const auto found = find_checksum(old_, sought, image_, budget_);
    if (!found) return;
    // Its neighbours have checksums of their own that hold: bytes around it must say that it is this one.
    const bool supported =
        base_ == nullptr || std::ranges::all_of(coverage, [&](const Spot* spot) {
          const Range to =
              found->coverage[static_cast<std::size_t>(std::ranges::find(coverage, spot) - coverage.begin())];
          if (to == spot->range() && spot->begin.value_or(to.begin) == to.begin &&
              spot->end.value_or(to.end) == to.end)
            return true;
          return spot->begin == to.begin || spot->end == to.end ||
                 edge(begins_, *spot, spot->range().begin) == to.begin;
        });
    const bool unmoved =
        std::ranges::all_of(spots, [](const Spot* spot) { return spot->to == spot->range(); });
    const bool likely =
        supported && (found->is_likely() || (unmoved && found->first && found->bits >= kStayingBits));
    for (std::size_t i = 0; i < coverage.size(); ++i) {
      // Where the value does not tell the ends, the bytes around them may have.
      const bool ends_told = found->edges_matter || (coverage[i]->fate == PlaceFate::kFound &&
                                                     coverage[i]->to == found->coverage[i]);
      take(*coverage[i], found->coverage[i], likely && ends_told);
    }
    for (std::size_t i = 0; i < substitutes.size(); ++i)
      take(*substitutes[i], found->substitutes[i], likely && found->edges_matter);
    for (std::size_t i = 0; i < slots.size(); ++i) {
      const bool stays =
          found->slots[i] == slots[i]->range() &&
          std::ranges::all_of(coverage, [](Spot* spot) { return spot->sure && spot->to == spot->range(); });
      const bool along = stays || (slots[i]->fate == PlaceFate::kFound && slots[i]->to == found->slots[i]);
      take(*slots[i], found->slots[i], likely && (!found->balance_only || along));
    }
    doubt(spots, *found, supported, likely);
  }

  // Says of every place that is not sure why not.
  void doubt(const std::vector<Spot*>& spots, const FoundChecksum& found, bool supported, bool likely) {
    for (Spot* spot : spots) {
      if (spot->sure) continue;
      char chance[32];
      std::snprintf(chance, sizeof chance, "%.2g", std::min(found.chance, 1.0));
      doubts_[spot->place.what] =
          found.balance_only ? "the rule holds whatever bytes are its balance"
          : !supported       ? "a checksum holds there, but nothing says that it is this one"
          : likely ? "the check holds a word further on too, so its value does not tell where it ends"
                   : "the check holds there, which is chance with probability " + std::string(chance);
    }
  }

  // Every place of the checksum was understood.
  bool is_whole(const SoughtChecksum& sought) const {
    if (sought.instances.empty()) return false;
    const Checksum& one = *sought.instances.front();
    const auto ranges = std::ranges::count_if(
        one.coverage, [](const Coverage& piece) { return !std::holds_alternative<CoverageLiteral>(piece); });
    const std::size_t slots = one.rule ? (one.rule->balance ? 1 : 0) : one.slots.size();
    return sought.coverage.size() == static_cast<std::size_t>(ranges) &&
           sought.substitutes.size() == one.substitutes.size() && sought.slots.size() == slots;
  }

  SoughtPlace sought_place(const Spot& spot, bool sizes) const {
    SoughtPlace place{{spot.place.memory, spot.range()}, {spot.to}};
    const auto add = [&](Range range) {
      if (fits(spot, range) && std::ranges::find(place.candidates, range) == place.candidates.end())
        place.candidates.push_back(range);
    };
    if (base_ == nullptr) return place;
    if (sizes && spot.may_grow()) {
      std::vector<std::uint64_t> begins, ends;
      if (const auto at = edge(begins_, spot, spot.range().begin)) begins.push_back(*at);
      if (spot.begin) begins.push_back(*spot.begin);
      if (const auto at = edge(ends_, spot, spot.range().end)) ends.push_back(*at);
      if (spot.end) ends.push_back(*spot.end);
      for (const std::uint64_t begin : begins) {
        for (const std::uint64_t end : ends) add({begin, end});
      }
    }
    if (spot.begin) add(moved(spot.range(), *spot.begin - spot.range().begin));
    if (spot.end) add(moved(spot.range(), *spot.end - spot.range().end));
    add(spot.range());
    std::set<std::uint64_t> ways;
    const auto moves = moves_.find(spot.place.memory);
    if (moves != moves_.end()) {
      for (const auto& [at, by] : moves->second) ways.insert(by);
    }
    if (ways.size() > kWays) ways.clear();
    for (const std::uint64_t by : ways) add(moved(spot.range(), by));
    return place;
  }

  void take(Spot& spot, Range to, bool sure) const {
    spot.to = to;
    spot.fate = PlaceFate::kChecked;
    spot.sure = sure;
  }

  void copies() {
    for (std::size_t i = 0; i < old_.copies.size(); ++i) {
      std::vector<Spot*> spots = spots_of("copies", i);
      const auto to = std::ranges::find(spots, "", [](const Spot* spot) { return spot->place.role; });
      const auto of = std::ranges::find(spots, "of", [](const Spot* spot) { return spot->place.role; });
      if (to != spots.end() && of != spots.end() && base_ != nullptr) copy(old_.copies[i], **of, **to);
    }
  }

  // The original lies where a region or a checksum over the same bytes does; the copy where its bytes stand.
  void copy(const Copy& copy, Spot& of, Spot& to) {
    const auto begin = edge(begins_, of, of.range().begin), end = edge(ends_, of, of.range().end);
    Range original = of.to;
    bool sure = of.sure;
    if (begin && end && (*end - *begin == of.range().size() || to.may_grow())) {
      original = {*begin, *end};
      sure = fits(of, original);
    }
    const Memory& from = image_.memories[of.place.memory];
    const Memory& memory = image_.memories[to.place.memory];
    to.sure = false;
    if (!fits(of, original) || !from.knows(original)) return;
    of.to = original;
    Bytes wanted;
    for (const std::uint8_t byte : from.view(original)) wanted.push_back(copied_byte(copy, byte));
    const bool constant =
        std::ranges::all_of(wanted, [&](std::uint8_t byte) { return byte == wanted.front(); });
    if (wanted.size() < kCopyLeast || constant || memory.bytes.size() > budget_) return;
    budget_ -= memory.bytes.size();
    std::vector<std::uint64_t> places;
    const std::boyer_moore_horspool_searcher searcher(wanted.begin(), wanted.end());
    for (auto at = memory.bytes.begin(); places.size() < 2;) {
      at = std::search(at, memory.bytes.end(), searcher);
      if (at == memory.bytes.end()) break;
      const auto address = memory.extent.begin + static_cast<std::uint64_t>(at++ - memory.bytes.begin());
      const bool itself =
          of.place.memory == to.place.memory && Range{address, address + wanted.size()}.overlaps(original);
      if (!itself && memory.knows({address, address + wanted.size()})) places.push_back(address);
    }
    if (places.size() != 1) return;
    take(to, {places.front(), places.front() + wanted.size()}, sure);
    take(of, original, sure);
    if (!sure)
      doubts_[to.place.what] = "the copy holds there, but where its original begins and ends is not sure";
  }

  // ---- places that begin and end with others

  using Edges = std::map<std::pair<std::size_t, std::uint64_t>, std::uint64_t>;

  static std::optional<std::uint64_t> edge(const Edges& edges, const Spot& spot, std::uint64_t old) {
    const auto at = edges.find({spot.place.memory, old});
    return at == edges.end() ? std::nullopt : std::optional(at->second);
  }

  void propagate() {
    for (const Spot& spot : spots_) {
      if (!spot.sure || spot.fate != PlaceFate::kChecked || spot.place.repeats || spot.is_slot()) continue;
      begins_[{spot.place.memory, spot.range().begin}] = spot.to.begin;
      ends_[{spot.place.memory, spot.range().end}] = spot.to.end;
    }
    for (Spot& spot : spots_) {
      if (spot.is("checksums") || spot.is("copies")) continue;
      const auto begin = edge(begins_, spot, spot.range().begin);
      const auto end = edge(ends_, spot, spot.range().end);
      if (!begin || !end || !fits(spot, {*begin, *end})) continue;
      if (*end - *begin != spot.range().size() && !spot.may_grow()) continue;
      take(spot, {*begin, *end}, true);
    }
  }

  // Bytes put in at the very edge of a place do not show in what stands around it: where a checksum over the
  // same bytes was not made sure of, neither is the place.
  void doubt_unchecked() {
    for (Spot& spot : spots_) {
      if (!spot.sure || spot.fate != PlaceFate::kFound || !(spot.is("regions") || spot.is("copies")))
        continue;
      for (const Spot& other : spots_) {
        if (other.sure || !other.is("checksums") || other.is_slot() ||
            other.place.memory != spot.place.memory)
          continue;
        if (other.range().begin != spot.range().begin && other.range().end != spot.range().end) continue;
        spot.sure = false;
        doubts_[spot.place.what] = "found, but the checksum over these bytes is not sure of them";
      }
    }
  }

  // A field that does not read as it should is not there.
  void identity_reads() {
    RegionMap there = old_;
    for (IdentityField& field : there.identity) {
      for (const Spot& spot : spots_) {
        if (spot.is("identity") && spot.place.memory == field.place.memory &&
            spot.range() == field.place.range)
          field.place.range = spot.to;
      }
    }
    for (const IdentityValue& value : read_identity(there, image_)) {
      if (value.field->kind == IdentityKind::kSoftwareNumber && value.known && !value.blank &&
          value.well_formed)
        software_number_ = value.text;
      if (!value.known || value.blank || value.well_formed) continue;
      for (Spot& spot : spots_) {
        if (!spot.is("identity") || spot.place.memory != value.field->place.memory ||
            spot.to != value.field->place.range)
          continue;
        spot.sure = false;
        doubts_[spot.place.what] = "what stands there does not read as the field's pattern";
      }
    }
  }

  // ---- the new map's text

  // The tree with the new places and without what was left out.
  JsonValue written() {
    JsonValue tree = tree_;
    std::vector<MapPlace> places = places_of_text(tree, old_);
    for (std::size_t i = 0; i < places.size(); ++i) {
      const Range to = spots_[i].to;
      places[i].address->text = address_text(to.begin);
      if (to.size() == spots_[i].range().size() || places[i].size == nullptr) continue;
      JsonValue& size = *places[i].size;
      if (size.kind == JsonValue::Kind::kInteger) {
        size.integer = to.size();
      } else {
        size.text = hex_number(to.size());
      }
    }
    for (const auto& [section, elements] : gone_) {
      JsonValue* list = section_of_text(tree, section);
      for (auto element = elements.rbegin(); element != elements.rend(); ++element)
        list->items.erase(list->items.begin() + static_cast<std::ptrdiff_t>(*element));
    }
    JsonValue* recognise = member_of(tree, "recognise");
    if (recognise != nullptr) {
      const JsonValue* all = member_of(*recognise, "all");
      if (all != nullptr && all->items.empty())
        std::erase_if(recognise->members, [](const JsonMember& one) { return one.first == "all"; });
      if (JsonValue* numbers = member_of(*recognise, "software_numbers")) {
        if (software_number_.empty()) {
          std::erase_if(recognise->members,
                        [](const JsonMember& one) { return one.first == "software_numbers"; });
        } else {
          *numbers = json_strings({software_number_});
        }
      }
      if (recognise->members.empty())
        std::erase_if(tree.members, [](const JsonMember& one) { return one.first == "recognise"; });
    }
    const auto set = [&](std::string_view key, JsonValue value) {
      if (JsonValue* there = member_of(tree, key)) {
        *there = std::move(value);
      } else {
        tree.members.emplace_back(std::string(key), std::move(value));
      }
    };
    std::erase_if(tree.members, [](const JsonMember& one) { return one.first == "succeeds"; });
    set("name", json(name_));
    set("version", json(1));
    set("evidence", evidence());
    return tree;
  }

  // Patches and recognised bytes must stand in the new image, or the map would not hold on it.
  void leave_out_what_is_not_there() {
    const auto stands = [&](const Spot& spot, const Bytes& wanted, const Bytes* mask) {
      const Memory& there = image_.memories[spot.place.memory];
      if (!there.knows(spot.to) || spot.to.size() != wanted.size()) return false;
      const ByteView found = there.view(spot.to);
      for (std::size_t i = 0; i < wanted.size(); ++i) {
        if (((wanted[i] ^ found[i]) & (mask == nullptr ? 0xff : (*mask)[i])) != 0) return false;
      }
      return true;
    };
    for (const Spot& spot : spots_) {
      bool there = true;
      if (spot.is("permitted_patches")) {
        const PermittedPatch& patch = old_.patches[spot.place.element];
        there = stands(spot, patch.before, nullptr) || stands(spot, patch.after, nullptr);
      } else if (spot.is("recognise")) {
        const Recognition::Match& match = old_.recognition.all[spot.place.element];
        there = stands(spot, match.bytes, &match.mask);
      }
      if (!there) leave_out(spot, "its bytes do not stand in the new image; it was left out");
    }
  }

  void leave_out(const Spot& spot, const std::string& why) {
    carry_.look.push_back(spot.place.section + " " +
                          element_name(tree_, spot.place.section, spot.place.element) + ": " + why);
    gone_[spot.place.section].insert(spot.place.element);
  }

  bool is_gone(const Spot& spot) const {
    const auto section = gone_.find(spot.place.section);
    return section != gone_.end() && section->second.contains(spot.place.element);
  }

  // Writes and judges the map; as long as places do not fit together, an uncertain element goes.
  void settle_text() {
    leave_out_what_is_not_there();
    if (member_of(tree_, "recognise") != nullptr && software_number_.empty() &&
        member_of(*member_of(tree_, "recognise"), "software_numbers") != nullptr)
      carry_.look.push_back("the software number could not be read: say how this software is recognised");
    for (std::size_t left = spots_.size(); !judge() && left > 0; --left) {
      const Spot* worst = colliding();
      if (worst == nullptr) return;
      leave_out(*worst, "its uncertain place, " + range_text(worst->to) +
                            ", does not fit together with others; it was left out");
    }
  }

  // An uncertain place that lies where another does and did not before; the surer may stay.
  const Spot* colliding() const {
    const Spot* worst = nullptr;
    for (const Spot& spot : spots_) {
      if (spot.sure || is_gone(spot)) continue;
      const bool collides = std::ranges::any_of(spots_, [&](const Spot& other) {
        return other.place.memory == spot.place.memory && !is_gone(other) && &other != &spot &&
               other.to.overlaps(spot.to) && !other.range().overlaps(spot.range());
      });
      if (collides && (worst == nullptr || spot.score < worst->score)) worst = &spot;
    }
    return worst;
  }

  bool judge() {
    carry_.map.reset();
    carry_.fault.reset();
    carry_.checks.clear();
    const std::string text = map_text(written());
    const ByteView view = view_of(text);
    carry_.text.assign(view.begin(), view.end());
    auto map = parse_region_map(carry_.text, name_ + ".json");
    if (!map) {
      carry_.fault = std::move(map).error();
      return false;
    }
    carry_.map = *std::move(map);
    auto plan = make_plan(*carry_.map, image_);
    if (!plan) {
      carry_.fault = std::move(plan).error();
      return false;
    }
    carry_.checks = verify_checks(*plan, image_);
    return true;
  }

  JsonValue evidence() {
    std::vector<std::string> guesses = {"that software of this family is laid out as map " + old_.name +
                                        " says, but for what moved"};
    for (const Spot& spot : spots_) {
      if (!spot.sure && !is_gone(spot))
        guesses.push_back(spot.place.what + " at " + range_text(spot.to) + ": " +
                          std::string(place_fate_name(spot.fate)));
    }
    for (const std::string& guess : old_.evidence.guesses)
      guesses.push_back("of the old map: " + guess.substr(0, 900));
    if (guesses.size() > 1000) guesses.resize(1000);
    return json_object({{"author", json("calseal regions carry")},
                        {"verified_on", json_strings({})},
                        {"guesses", json_strings(guesses)},
                        {"grade", json("draft")}});
  }

  // ---- what to look at

  std::string doubt(const Spot& spot) const {
    const std::string at = range_text(spot.to);
    const auto known = doubts_.find(spot.place.what);
    if (known != doubts_.end()) return "proposed at " + at + ": " + known->second;
    switch (spot.fate) {
      case PlaceFate::kFound:
        return spot.is("checksums")
                   ? "proposed at " + at + " by the bytes around it, but the checksum does not hold"
                   : "proposed at " + at + " by the bytes around it";
      case PlaceFate::kOneEnd:
        return "proposed at " + at + " by one end; say where the other is";
      case PlaceFate::kUnequal:
        return "its ends moved differently; proposed at " + at + ", say where it ends now";
      case PlaceFate::kNeighbours:
        return "not found again; proposed at " + at + ", since what stands around it moved so";
      case PlaceFate::kChecked:
        return "proposed at " + at;
      case PlaceFate::kAssumed:
        break;
    }
    return "not found again, left at " + at;
  }

  void finish() {
    std::vector<std::string> first;
    for (const CheckOutcome& check : carry_.checks) {
      if (check.state != CheckState::kHolds)
        first.push_back((check.is_copy ? "copy " : "checksum ") + check.name +
                        ": does not hold in the new image");
    }
    for (const Spot& spot : spots_) {
      if (is_gone(spot)) continue;
      carry_.places.push_back({spot.place.what, old_.memories[spot.place.memory].name, spot.range(), spot.to,
                               spot.fate, spot.score, spot.sure});
      if (!spot.sure && base_ != nullptr) first.push_back(spot.place.what + ": " + doubt(spot));
    }
    carry_.look.insert(carry_.look.begin(), first.begin(), first.end());
    if (budget_ == 0)
      carry_.look.push_back(
          "not every place was tried for every checksum: there are too many, or they are too long");
    if (base_ == nullptr)
      carry_.look.push_back(
          "nothing was looked for: give --base, an image of the old software, and places are found by their "
          "context");
  }

  const RegionMap& old_;
  const Image* base_;
  const Image& image_;
  std::string name_;
  JsonValue tree_;
  std::vector<Spot> spots_;
  std::map<std::size_t, std::map<std::uint64_t, std::uint64_t>>
      moves_;            // by memory: old address, how far it moved
  Edges begins_, ends_;  // of places that a value told: old address, new one
  std::map<std::string, std::string> doubts_;
  std::map<std::string, std::set<std::size_t>> gone_;
  std::string software_number_;
  std::uint64_t budget_ = kBudget;
  MapCarry carry_;
};

}  // namespace

std::string_view place_fate_name(PlaceFate fate) {
  constexpr std::array<std::string_view, 6> kNames = {"found",   "one-end", "neighbours",
                                                      "checked", "assumed", "unequal"};
  return kNames[static_cast<std::size_t>(fate)];
}

Result<MapCarry> carry_region_map(const RegionMap& map, const Image* base, const Image& image,
                                  const std::string& name) {
  return Carrier(map, base, image, name).run();
}

}  // namespace calseal
