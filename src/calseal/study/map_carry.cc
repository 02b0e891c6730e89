// Works on the map's text as a tree, so that notes, repetitions and everything it does not understand stay as
// they were: only addresses change.
#include "calseal/study/map_carry.h"

#include <algorithm>
#include <array>
#include <map>
#include <set>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/change/context.h"
#include "calseal/map/identity.h"
#include "calseal/map/plan.h"
#include "calseal/study/map_text.h"

namespace calseal {
namespace {

constexpr std::uint64_t kMark = 16;  // bytes at either end of a place that are looked for
constexpr std::array<std::string_view, 8> kSections = {
    "recognise", "regions",  "permitted_patches",   "copies",
    "checksums", "identity", "manufacturer_signed", "items"};

JsonValue* member_of(JsonValue& object, std::string_view key) {
  for (auto& [name, value] : object.members) {
    if (name == key) return &value;
  }
  return nullptr;
}

std::uint64_t number_of(const JsonValue* value, std::uint64_t otherwise) {
  if (value == nullptr) return otherwise;
  if (value->kind == JsonValue::Kind::kInteger) return value->integer;
  return std::stoull(value->text, nullptr, 16);  // "0x...": the map was parsed before
}

std::string text_of(const JsonValue* value) { return value == nullptr ? "" : value->text; }

// A place in the tree.
struct Spot {
  JsonValue* address = nullptr;  // the member that holds it
  std::string what;
  std::size_t memory = 0;
  Range range;          // whole, repetitions included
  std::size_t element;  // of its section
  std::string section;
  bool is_slot = false;  // its own bytes are another software's: only what surrounds it tells
  std::optional<std::int64_t> begin, end;  // how far either end moved
  std::int64_t moved = 0;
  PlaceFate fate = PlaceFate::kAssumed;
  std::uint64_t score = 0;
};

class Carrier {
 public:
  Carrier(const RegionMap& map, const Image* base, const Image& image, const std::string& name)
      : old_(map), base_(base), image_(image), name_(name) {}

  Result<MapCarry> run() {
    CALSEAL_ASSIGN(tree_, parse_json(text_of_bytes(), old_.name));
    for (const std::string_view section : kSections) {
      JsonValue* value = member_of(tree_, section);
      if (value == nullptr) continue;
      if (section == "recognise") value = member_of(*value, "all");
      if (value == nullptr) continue;
      for (std::size_t i = 0; i < value->items.size(); ++i)
        collect(value->items[i], std::string(section), i, "", 1);
    }
    if (base_ != nullptr) CALSEAL_CHECK(look_around());
    decide();
    for (Spot& spot : spots_) write(spot);
    drop_what_is_not_there();
    rename();
    judge();
    if (carry_.map) try_failing();
    finish();
    return std::move(carry_);
  }

 private:
  std::string_view text_of_bytes() const { return calseal::text_of(ByteView(old_.text)); }

  void collect(JsonValue& value, const std::string& section, std::size_t element, const std::string& role,
               std::uint64_t repeat) {
    if (value.kind == JsonValue::Kind::kArray) {
      for (JsonValue& one : value.items) collect(one, section, element, role, repeat);
      return;
    }
    if (value.kind != JsonValue::Kind::kObject) return;
    repeat = number_of(value.find("repeat"), repeat);
    const JsonValue* memory = value.find("memory");
    JsonValue* address = member_of(value, "start");
    if (address == nullptr) address = member_of(value, "at");
    if (memory != nullptr && address != nullptr) {
      Spot spot;
      spot.address = address;
      spot.section = section;
      spot.element = element;
      spot.what = section + " " + name_at(section, element) + (role.empty() ? "" : ", " + role);
      spot.memory = old_.memory_index(memory->text);
      spot.is_slot = role == "slots" || role == "balance";
      const std::uint64_t begin = *parse_address(address->text);
      std::uint64_t size = size_of(value, spot.memory, begin);
      const std::uint64_t count = number_of(value.find("count"), repeat);
      if (value.find("stride") != nullptr) size += number_of(value.find("stride"), 0) * (count - 1);
      spot.range = {begin, begin + size};
      spots_.push_back(std::move(spot));
    }
    for (auto& [key, part] : value.members)
      collect(part, section, element, role.empty() || key == "balance" ? key : role, repeat);
  }

  std::string name_at(const std::string& section, std::size_t element) {
    JsonValue* list = member_of(tree_, section);
    if (section == "recognise") return "all " + std::to_string(element);
    return text_of(list->items[element].find("name"));
  }

  std::uint64_t size_of(const JsonValue& value, std::size_t memory, std::uint64_t begin) const {
    if (value.find("size") != nullptr) return number_of(value.find("size"), 1);
    for (const std::string_view key : {"bytes", "before", "equals"}) {
      const JsonValue* bytes = value.find(key);
      if (bytes != nullptr && bytes->kind == JsonValue::Kind::kString)
        return std::max<std::size_t>(bytes->text.size() / 2, 1);
    }
    if (value.find("records") != nullptr)
      return number_of(value.find("records"), 1) * number_of(value.find("record_size"), 1);
    for (const Item& item : old_.items) {
      if (item.place.memory == memory && item.place.range.begin == begin) return item.place.range.size();
    }
    for (const Copy& copy : old_.copies) {  // the original, as long as the copy
      if (copy.of.memory == memory && copy.of.range.begin == begin) return copy.of.range.size();
    }
    return 1;
  }

  // Both ends of every place, by the bytes around them.
  Status look_around() {
    CALSEAL_ASSIGN(const Plan plan, make_plan(old_, *base_));
    for (std::size_t m = 0; m < old_.memories.size(); ++m) {
      std::vector<ContextGroup> groups;
      std::vector<std::pair<std::size_t, bool>> whose;
      for (std::size_t i = 0; i < spots_.size(); ++i) {
        if (spots_[i].memory != m) continue;
        const Range range = spots_[i].range;
        groups.push_back({{range.begin, range.begin + std::min(range.size(), kMark)}, {}});
        whose.emplace_back(i, false);
        if (range.size() <= 2 * kMark) continue;
        groups.push_back({{range.end - kMark, range.end}, {}});
        whose.emplace_back(i, true);
      }
      const auto matches = find_by_context(base_->memories[m], image_.memories[m], groups, {}, {});
      for (std::size_t g = 0; g < groups.size(); ++g) {
        const ContextMatch& match = matches[g];
        if (!match.found() || !match.alone()) continue;
        Spot& spot = spots_[whose[g].first];
        const std::int64_t by = static_cast<std::int64_t>(match.here.front().begin) -
                                static_cast<std::int64_t>(groups[g].range.begin);
        (whose[g].second ? spot.end : spot.begin) = by;
        spot.score = std::max(spot.score, match.here.front().score);
        moves_[m][groups[g].range.begin] = by;
      }
    }
    return {};
  }

  bool fits(const Spot& spot, std::int64_t by) const {
    const Range extent = old_.memories[spot.memory].extent;
    return static_cast<std::int64_t>(spot.range.begin) + by >= static_cast<std::int64_t>(extent.begin) &&
           static_cast<std::int64_t>(spot.range.end) + by <= static_cast<std::int64_t>(extent.end);
  }

  void decide() {
    for (Spot& spot : spots_) {
      const bool is_short = spot.range.size() <= 2 * kMark;
      if (spot.begin && (is_short || spot.end == spot.begin)) {
        settle(spot, *spot.begin, PlaceFate::kFound);
      } else if (spot.begin && spot.end) {
        settle(spot, *spot.begin, PlaceFate::kUnequal);
      } else if (spot.begin || spot.end) {
        settle(spot, spot.begin ? *spot.begin : *spot.end, PlaceFate::kOneEnd);
      } else if (const auto by = neighbours_moved(spot)) {
        settle(spot, *by, PlaceFate::kNeighbours);
      }
    }
  }

  void settle(Spot& spot, std::int64_t by, PlaceFate fate) const {
    if (!fits(spot, by)) return;
    spot.moved = by;
    spot.fate = fate;
  }

  // What the nearest found ends before and behind say, when they agree.
  std::optional<std::int64_t> neighbours_moved(const Spot& spot) const {
    const auto moves = moves_.find(spot.memory);
    if (moves == moves_.end()) return std::nullopt;
    const auto after = moves->second.lower_bound(spot.range.begin);
    if (after == moves->second.begin() || after == moves->second.end()) return std::nullopt;
    const auto before = std::prev(after);
    return before->second == after->second ? std::optional(after->second) : std::nullopt;
  }

  Range target(const Spot& spot) const {
    return {static_cast<std::uint64_t>(static_cast<std::int64_t>(spot.range.begin) + spot.moved),
            static_cast<std::uint64_t>(static_cast<std::int64_t>(spot.range.end) + spot.moved)};
  }

  void write(Spot& spot) const { spot.address->text = address_text(target(spot).begin); }

  // Patches and recognised bytes must stand in the new image, or the map would not hold on it.
  void drop_what_is_not_there() {
    const auto stands = [&](const JsonValue& object, std::string_view key) {
      const JsonValue* bytes = object.find(key);
      const JsonValue* address = object.find("at");
      const JsonValue* memory = object.find("memory");
      if (bytes == nullptr || address == nullptr || memory == nullptr) return true;
      const Memory& there = image_.memories[old_.memory_index(memory->text)];
      const Bytes wanted = *from_hex(bytes->text);
      const std::uint64_t begin = *parse_address(address->text);
      if (!there.knows({begin, begin + wanted.size()})) return false;
      const ByteView found = there.view({begin, begin + wanted.size()});
      const JsonValue* mask_text = object.find("mask");
      const Bytes mask = mask_text == nullptr ? Bytes(wanted.size(), 0xff) : *from_hex(mask_text->text);
      for (std::size_t i = 0; i < wanted.size(); ++i) {
        if (((wanted[i] ^ found[i]) & mask[i]) != 0) return false;
      }
      return true;
    };
    const auto drop = [&](JsonValue& list, const std::string& section, const auto& is_there) {
      std::size_t kept = 0;
      for (std::size_t i = 0; i < list.items.size(); ++i) {
        if (is_there(list.items[i])) {
          if (kept != i) list.items[kept] = list.items[i];
          ++kept;
          continue;
        }
        carry_.look.push_back(
            section + " " +
            (section == "recognise" ? "all " + std::to_string(i) : text_of(list.items[i].find("name"))) +
            ": its bytes do not stand in the new image; it was left out");
        gone_.insert({section, i});
      }
      list.items.resize(kept);
      return kept;
    };
    if (JsonValue* patches = member_of(tree_, "permitted_patches"))
      drop(*patches, "permitted_patches",
           [&](const JsonValue& one) { return stands(one, "before") || stands(one, "after"); });
    JsonValue* recognise = member_of(tree_, "recognise");
    if (recognise == nullptr) return;
    JsonValue* all = member_of(*recognise, "all");
    if (all != nullptr &&
        drop(*all, "recognise", [&](const JsonValue& one) { return stands(one, "bytes"); }) == 0)
      std::erase_if(recognise->members, [](const JsonMember& one) { return one.first == "all"; });
  }

  void set(std::string_view key, JsonValue value) {
    if (JsonValue* there = member_of(tree_, key)) {
      *there = std::move(value);
    } else {
      tree_.members.emplace_back(std::string(key), std::move(value));
    }
  }

  void rename() {
    set("name", json(name_));
    set("version", json(1));
    JsonValue* recognise = member_of(tree_, "recognise");
    if (recognise == nullptr) return;
    if (JsonValue* numbers = member_of(*recognise, "software_numbers")) {
      const std::string number = software_number();
      if (number.empty()) {
        std::erase_if(recognise->members,
                      [](const JsonMember& one) { return one.first == "software_numbers"; });
        carry_.look.push_back("the software number could not be read: say how this software is recognised");
      } else {
        *numbers = json_strings({number});
      }
    }
    if (recognise->members.empty())
      std::erase_if(tree_.members, [](const JsonMember& one) { return one.first == "recognise"; });
  }

  // Read where the field was carried to.
  std::string software_number() const {
    RegionMap there = old_;
    for (IdentityField& field : there.identity) {
      for (const Spot& spot : spots_) {
        if (spot.section == "identity" && spot.memory == field.place.memory &&
            spot.range == field.place.range)
          field.place.range = target(spot);
      }
    }
    for (const IdentityValue& value : read_identity(there, image_)) {
      if (value.field->kind == IdentityKind::kSoftwareNumber && value.known && !value.blank &&
          value.well_formed)
        return value.text;
    }
    return "";
  }

  // The map as the tree has it now.
  Result<RegionMap> parsed() {
    set("evidence", evidence());
    const std::string text = map_text(tree_);
    const ByteView view = view_of(text);
    carry_.text.assign(view.begin(), view.end());
    return parse_region_map(carry_.text, name_ + ".json");
  }

  void judge() {
    carry_.map.reset();
    carry_.fault.reset();
    carry_.checks.clear();
    auto map = parsed();
    if (!map) {
      carry_.fault = std::move(map).error();
      return;
    }
    carry_.map = *std::move(map);
    auto plan = make_plan(*carry_.map, image_);
    if (!plan) {
      carry_.fault = std::move(plan).error();
      return;
    }
    carry_.checks = verify_checks(*plan, image_);
  }

  // A checksum that fails may have moved another way than its context says: every way that anything moved is
  // tried.
  void try_failing() {
    std::set<std::int64_t> ways = {0};
    for (const auto& [memory, moves] : moves_) {
      for (const auto& [at, by] : moves) ways.insert(by);
    }
    if (ways.size() > 8 || ways.size() < 2) return;
    JsonValue* checksums = member_of(tree_, "checksums");
    if (checksums == nullptr) return;
    for (std::size_t element = 0; element < checksums->items.size(); ++element) {
      if (!fails(element)) continue;
      std::vector<Spot*> slots, others;
      for (Spot& spot : spots_) {
        if (spot.section != "checksums" || spot.element != element) continue;
        (spot.is_slot ? slots : others).push_back(&spot);
      }
      if (!try_ways(element, slots, others, ways)) judge();
    }
  }

  bool try_ways(std::size_t element, const std::vector<Spot*>& slots, const std::vector<Spot*>& others,
                const std::set<std::int64_t>& ways) {
    const auto move_to = [&](const std::vector<Spot*>& spots, std::int64_t by) {
      return std::ranges::all_of(spots, [&](Spot* spot) {
        if (!fits(*spot, by)) return false;
        spot->moved = by;
        write(*spot);
        return true;
      });
    };
    std::vector<std::int64_t> before;
    for (Spot* spot : slots) before.push_back(spot->moved);
    for (Spot* spot : others) before.push_back(spot->moved);
    for (const std::int64_t covered : ways) {
      for (const std::int64_t slot : ways) {
        if (!move_to(others, covered) || !move_to(slots, slot)) continue;
        judge();
        if (!carry_.map || carry_.fault || fails(element)) continue;
        for (Spot* spot : slots) spot->fate = PlaceFate::kChecked;
        for (Spot* spot : others) spot->fate = PlaceFate::kChecked;
        return true;
      }
    }
    std::size_t i = 0;
    for (Spot* spot : slots) spot->moved = before[i++], write(*spot);
    for (Spot* spot : others) spot->moved = before[i++], write(*spot);
    return false;
  }

  bool fails(std::size_t element) {
    const std::string name = name_at("checksums", element);
    return std::ranges::any_of(carry_.checks, [&](const CheckOutcome& check) {
      return check.state == CheckState::kFails && (check.name == name || check.name.starts_with(name + "["));
    });
  }

  JsonValue evidence() {
    std::vector<std::string> guesses = {"that software of this family is laid out as map " + old_.name +
                                        " says, but for what moved"};
    for (const Spot& spot : spots_) {
      if (spot.fate != PlaceFate::kFound && spot.fate != PlaceFate::kChecked)
        guesses.push_back(spot.what + " at " + range_text(target(spot)) + ": " +
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

  void finish() {
    std::vector<std::string> first;
    for (const CheckOutcome& check : carry_.checks) {
      if (check.state != CheckState::kHolds)
        first.push_back((check.is_copy ? "copy " : "checksum ") + check.name +
                        ": does not hold in the new image");
    }
    for (const Spot& spot : spots_) {
      if (gone_.contains({spot.section, spot.element}) &&
          (spot.section == "permitted_patches" || spot.section == "recognise"))
        continue;
      carry_.places.push_back(
          {spot.what, old_.memories[spot.memory].name, spot.range, target(spot), spot.fate, spot.score});
      if (spot.fate == PlaceFate::kUnequal)
        first.push_back(spot.what + ": its ends moved differently; say where it ends now");
      if (spot.fate == PlaceFate::kAssumed && base_ != nullptr && !vouched(spot))
        first.push_back(spot.what + ": not found again, left at " + range_text(spot.range));
    }
    carry_.look.insert(carry_.look.begin(), first.begin(), first.end());
    if (base_ == nullptr)
      carry_.look.push_back(
          "nothing was looked for: give --base, an image of the old software, and places are found by their "
          "context");
  }

  // A holding checksum says where its own places are.
  bool vouched(const Spot& spot) {
    if (spot.section != "checksums" || carry_.checks.empty() || fails(spot.element)) return false;
    return true;
  }

  const RegionMap& old_;
  const Image* base_;
  const Image& image_;
  std::string name_;
  JsonValue tree_;
  std::vector<Spot> spots_;
  std::map<std::size_t, std::map<std::uint64_t, std::int64_t>>
      moves_;  // by memory: old address, how far it moved
  std::set<std::pair<std::string, std::size_t>> gone_;
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
