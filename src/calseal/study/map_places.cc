#include "calseal/study/map_places.h"

#include <algorithm>
#include <array>

#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr std::array<std::string_view, 8> kSections = {
    "recognise", "regions",  "permitted_patches",   "copies",
    "checksums", "identity", "manufacturer_signed", "items"};

std::uint64_t number_of(const JsonValue* value, std::uint64_t otherwise) {
  if (value == nullptr) return otherwise;
  if (value->kind == JsonValue::Kind::kInteger) return value->integer;
  return std::stoull(value->text, nullptr, 16);  // "0x...": the map was parsed before
}

class Collector {
 public:
  Collector(JsonValue& tree, const RegionMap& map) : tree_(tree), map_(map) {}

  std::vector<MapPlace> run() {
    for (const std::string_view section : kSections) {
      JsonValue* list = section_of_text(tree_, section);
      if (list == nullptr) continue;
      for (std::size_t i = 0; i < list->items.size(); ++i)
        collect(list->items[i], std::string(section), i, "", 1);
    }
    return std::move(places_);
  }

 private:
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
      MapPlace place;
      place.address = address;
      place.size = member_of(value, "size");
      place.section = section;
      place.element = element;
      place.role = role;
      place.what = section + " " + element_name(tree_, section, element) + (role.empty() ? "" : ", " + role);
      place.memory = map_.memory_index(memory->text);
      const std::uint64_t begin = *parse_address(address->text);
      std::uint64_t size = size_of(value, place, begin);
      const std::uint64_t count = number_of(value.find("count"), repeat);
      place.repeats = repeat > 1 || value.find("count") != nullptr;
      if (value.find("stride") != nullptr) size += number_of(value.find("stride"), 0) * (count - 1);
      place.range = {begin, begin + size};
      places_.push_back(std::move(place));
    }
    for (auto& [key, part] : value.members)
      collect(part, section, element, role.empty() || key == "balance" ? key : role, repeat);
  }

  std::uint64_t size_of(const JsonValue& value, const MapPlace& place, std::uint64_t begin) const {
    if (value.find("size") != nullptr) return number_of(value.find("size"), 1);
    for (const std::string_view key : {"bytes", "before", "equals"}) {
      const JsonValue* bytes = value.find(key);
      if (bytes != nullptr && bytes->kind == JsonValue::Kind::kString)
        return std::max<std::size_t>(bytes->text.size() / 2, 1);
    }
    if (value.find("records") != nullptr)
      return number_of(value.find("records"), 1) * number_of(value.find("record_size"), 1);
    // The original of a copy is as long as the copy.
    if (place.section == "copies" && place.role == "of") return map_.copies[place.element].to.range.size();
    for (const Item& item : map_.items) {
      if (item.place.memory == place.memory && item.place.range.begin == begin)
        return item.place.range.size();
    }
    return 1;
  }

  JsonValue& tree_;
  const RegionMap& map_;
  std::vector<MapPlace> places_;
};

}  // namespace

JsonValue* member_of(JsonValue& object, std::string_view key) {
  for (auto& [name, value] : object.members) {
    if (name == key) return &value;
  }
  return nullptr;
}

JsonValue* section_of_text(JsonValue& tree, std::string_view section) {
  JsonValue* value = member_of(tree, section);
  return value != nullptr && section == "recognise" ? member_of(*value, "all") : value;
}

std::string element_name(JsonValue& tree, std::string_view section, std::size_t element) {
  if (section == "recognise") return "all " + std::to_string(element);
  const JsonValue* name = section_of_text(tree, section)->items[element].find("name");
  return name == nullptr ? "" : name->text;
}

std::vector<MapPlace> places_of_text(JsonValue& tree, const RegionMap& map) {
  return Collector(tree, map).run();
}

}  // namespace calseal
