// What of a wrapping is neither image nor declared, kept with revision 0, so that the way back can be given
// in the customer's own form where his controller can no longer be read.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "calseal/bundle/manifest.h"
#include "calseal/map/read.h"

namespace calseal {

// Name of the annotation. Its text is the form's name, a space, and the opaque bytes of the file as received,
// hexadecimal.
inline constexpr std::string_view kWrappingAnnotation = "wrapping";

// One for each file of the read that came in a declared form with opaque bytes. Those that are too long for
// an annotation are left out.
std::vector<std::pair<std::string, std::string>> wrapping_notes(const Read& read);

// The opaque bytes that the manifest keeps for a form.
std::optional<Bytes> noted_wrapping(const Manifest& manifest, const FormDeclaration& form);

}  // namespace calseal
