// What a read that does not fit most likely is, in words for the person who holds it. Nothing is decided
// here: match.h and read.h have refused already, and the reason stays what it was.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/check/open.h"
#include "calseal/image/image.h"
#include "calseal/map/read.h"

namespace calseal {

// kReadForeign. `read` is the read as it came; `image` the same with the payload laid over it, of which a
// locked span differs. Told apart: other family, other software number, other bank, erased bytes, locked
// bytes that somebody else changed, a damaged read.
Error explain_foreign(const OpenedBundle& opened, const Image& read, const Image& image);

// kReadIncomplete: `first_missing` is the first place that is needed and not in the read. Told apart: a
// memory that was not given, a read of the calibration alone, a read cut short.
Error explain_incomplete(const OpenedBundle& opened, const Image& read, const NamedRange& first_missing);

// kVehicleMismatch: `salt` is the job's. Says which binding fields agree; never what they hold.
Error explain_other_vehicle(const OpenedBundle& opened, const Image& read, ByteView salt);

// A file of a read before it is laid into memories.
struct FileShape {
  std::string memory;  // as named by the person, or empty
  std::string name;
  std::uint64_t size = 0;  // bytes
};
std::vector<FileShape> shapes_of(const std::vector<ReadFile>& files);

// An error of load_read(), with what the sizes tell: memories swapped, the calibration alone, a file cut
// short; and for which controller the bundle is.
Error explain_unloadable(Error error, const OpenedBundle& opened, const std::vector<FileShape>& files);

// The same error, when the files are rather the read of a bundle in `others` (members of the set): the
// controllers were swapped. `files` are the read's.
Error explain_swapped(Error error, const OpenedBundle& opened, const std::vector<ReadFile>& files,
                      const std::vector<OpenedBundle>& others);

// The same kReadForeign, when the read's locked bytes are those of `other`, a revision of the same job and
// controller on another base.
Error explain_other_base(Error error, const OpenedBundle& opened, const Image& read, const Manifest& other);

// Which of its two sides every changed editable span of `read` is.
enum class Calibration : std::uint8_t { kUnchanged, kBefore, kAfter, kOther };
Calibration calibration_of(const ManifestController& controller, const Image& read);

// Names of regions and other parts that `ranges` touch, at most five, and how many more there are.
std::string regions_text(const RegionMap& map, const std::vector<NamedRange>& ranges);

}  // namespace calseal
