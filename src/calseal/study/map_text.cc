#include "calseal/study/map_text.h"

#include <algorithm>

namespace calseal {
namespace {

bool is_long_list(const JsonValue& value) {
  return value.kind == JsonValue::Kind::kArray && !value.items.empty();
}

std::string list_text(const JsonValue& list, const std::string& indent) {
  std::string text = "[\n";
  for (std::size_t i = 0; i < list.items.size(); ++i)
    text += indent + "  " + canonical_json(list.items[i]) + (i + 1 < list.items.size() ? ",\n" : "\n");
  return text + indent + "]";
}

}  // namespace

std::string map_text(const JsonValue& map) {
  std::string text = "{\n";
  for (std::size_t i = 0; i < map.members.size(); ++i) {
    const auto& [key, value] = map.members[i];
    text += "  \"" + key + "\": ";
    if (is_long_list(value)) {
      text += list_text(value, "  ");
    } else if (value.kind == JsonValue::Kind::kObject) {
      text += "{\n";
      for (std::size_t k = 0; k < value.members.size(); ++k) {
        const auto& [inner, part] = value.members[k];
        text +=
            "    \"" + inner + "\": " + (is_long_list(part) ? list_text(part, "    ") : canonical_json(part));
        text += k + 1 < value.members.size() ? ",\n" : "\n";
      }
      text += "  }";
    } else {
      text += canonical_json(value);
    }
    text += i + 1 < map.members.size() ? ",\n" : "\n";
  }
  return text + "}\n";
}

}  // namespace calseal
