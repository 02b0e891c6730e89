// What a read that does not fit most likely is, in words for the person who holds it. Nothing is decided
// here: the proof and read.h have refused already, and the reason stays what it was.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/check/open.h"
#include "calseal/image/image.h"
#include "calseal/map/read.h"

namespace calseal {

// What the proof refused a loaded read for, in fuller words: kReadForeign, kReadIncomplete, kVehicleMismatch.
// Any other error comes back as it is. `salt`: the job's, where it was given.
Error explain_misfit(Error error, const OpenedBundle& opened, const Image& read,
                     const std::optional<Bytes>& salt);

// kReadForeign: a locked span of `read` differs. Told apart: other family, other software number, other bank,
// erased bytes, locked bytes that somebody else changed, a damaged read.
Error explain_foreign(const OpenedBundle& opened, const Image& read);

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

// Whether every identity field in locked bytes has the value that the manifest says, where the read knows it.
bool has_same_identity(const OpenedBundle& opened, const Image& read);

}  // namespace calseal
