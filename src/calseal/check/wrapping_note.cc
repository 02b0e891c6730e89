#include "calseal/check/wrapping_note.h"

#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/map/wrapping.h"

namespace calseal {

std::vector<std::pair<std::string, std::string>> wrapping_notes(const Read& read) {
  std::vector<std::pair<std::string, std::string>> notes;
  for (const ReadSource& source : read.sources) {
    if (source.declared == nullptr) continue;
    const Bytes opaque = opaque_bytes(*source.declared, source.file.original);
    std::string text = source.declared->name + " " + to_hex(opaque);
    if (!opaque.empty() && text.size() <= kTextLimit)
      notes.emplace_back(std::string(kWrappingAnnotation), std::move(text));
  }
  return notes;
}

std::optional<Bytes> noted_wrapping(const Manifest& manifest, const FormDeclaration& form) {
  const std::string start = form.name + " ";
  for (const auto& [name, text] : manifest.annotations) {
    if (name != kWrappingAnnotation || !text.starts_with(start)) continue;
    if (auto bytes = from_hex(std::string_view(text).substr(start.size()))) return bytes;
  }
  return std::nullopt;
}

}  // namespace calseal
