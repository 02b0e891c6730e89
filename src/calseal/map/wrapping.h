// Declared wrappings: which bytes of a file are which bytes of the image, whether a file has the form, and
// the way back. Taking a wrapping off and putting it on again gives the very same file.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/image/image.h"
#include "calseal/map/region_map.h"

namespace calseal {

// A part of the image in the file, `at` bytes from its beginning.
struct WrappedPart {
  std::uint64_t at = 0;
  Place place;
};

// In file order.
std::vector<WrappedPart> wrapped_parts(const FormDeclaration& form);

// Bytes of a file of this form.
std::uint64_t wrapping_size(const FormDeclaration& form);

// Size and constants are the form's.
bool wrapping_fits(const FormDeclaration& form, ByteView file);

// How many bytes of a form's file are opaque.
std::uint64_t opaque_size(const FormDeclaration& form);

// The opaque bytes of a file that fits, one block after another.
Bytes opaque_bytes(const FormDeclaration& form, ByteView file);

// A file of this form with these opaque bytes, as many as opaque_bytes() gives, and zeros where parts of the
// image belong. Nothing when they are not as many.
std::optional<Bytes> empty_wrapping(const FormDeclaration& form, ByteView opaque);

// Every opaque byte belongs to a slot of the wrapping's own checksums, so that wrap() makes all of them.
bool makes_its_opaque_bytes(const FormDeclaration& form);

// Every part of the image that the form speaks of is of this memory.
bool is_of_memory(const FormDeclaration& form, std::size_t memory);

// For a file that fits no form: it is as long as one, and a constant differs. Nothing when no form is so
// long.
std::optional<Error> misfit_of(const RegionMap& map, ByteView file, const std::string& name);

// The wrapping's own checksums hold; kFormChecksum names the first that does not. `file` fits.
Status verify_wrapping(const FormDeclaration& form, ByteView file, const std::string& name);

// The file with the parts of `image`, and its own checksums right; everything else is that of `original`,
// which fits and is verified. kFormChecksum when no slot value could make a rule hold.
Result<Bytes> wrap(const FormDeclaration& form, const Bytes& original, const Image& image,
                   const std::string& name);

}  // namespace calseal
