#include "calseal/archive/path_text.h"

#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr std::string_view kDigits = "0123456789ABCDEF";

}  // namespace

std::string path_text(std::string_view path) {
  const bool whole = is_utf8(path);
  std::string text;
  for (const char c : path) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte >= 0x20 && byte != 0x7f && byte != '%' && (byte < 0x7f || whole)) {
      text += c;
      continue;
    }
    text += '%';
    text += kDigits[byte >> 4];
    text += kDigits[byte & 15];
  }
  return text;
}

std::optional<std::string> parse_path_text(std::string_view text) {
  std::string path;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '%') {
      path += text[i];
      continue;
    }
    if (i + 2 >= text.size()) return std::nullopt;
    const std::size_t high = kDigits.find(text[i + 1]);
    const std::size_t low = kDigits.find(text[i + 2]);
    if (high == std::string_view::npos || low == std::string_view::npos) return std::nullopt;
    path += static_cast<char>(high << 4 | low);
    i += 2;
  }
  if (path_text(path) != text) return std::nullopt;
  return path;
}

void PathText::read(const JsonNode& node, std::string& path) const {
  auto parsed = parse_path_text(node.text(65536));
  if (!parsed) node.refuse(Reason::kJsonValue, "a name that is not escaped as names are", "a name");
  path = parsed.value_or(std::string());
}

std::string_view folder_of(std::string_view path) {
  const std::size_t slash = path.rfind('/');
  return slash == std::string_view::npos ? std::string_view() : path.substr(0, slash);
}

std::string_view name_of(std::string_view path) {
  const std::size_t slash = path.rfind('/');
  return slash == std::string_view::npos ? path : path.substr(slash + 1);
}

std::string join_path(std::string_view folder, std::string_view name) {
  return folder.empty() ? std::string(name) : std::string(folder) + "/" + std::string(name);
}

}  // namespace calseal
