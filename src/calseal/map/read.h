// A controller's read: the files that a person has, laid into the memories of a region map, and written back
// in the form they came in.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/image/form.h"
#include "calseal/image/image.h"
#include "calseal/map/region_map.h"

namespace calseal {

inline constexpr std::uint64_t kReadFileLimit = std::uint64_t{1}
                                                << 30;  // bytes of one file, record forms included

// A file as given: for one memory, or for whatever its addresses or its declared form say.
struct ReadFile {
  std::string memory;  // empty: not named
  std::string name;    // for errors
  Bytes bytes;
};

// One file of a read after parsing, with what is needed to write it back.
struct ReadSource {
  std::string memory;  // named, or found; empty when it spans several
  std::string name;
  std::string form;                           // "raw", "intel-hex", "s-record" or a declared form's name
  FormFile file;                              // without its bytes where they are a memory's, see file_bytes()
  const FormDeclaration* declared = nullptr;  // lives in the region map
  bool is_memory = false;                     // a raw file that is its memory from end to end
};

struct Read {
  Image image;                      // memories in map order; what no file gives is unknown
  std::vector<ReadSource> sources;  // in the order given
  // By memory: bytes that no file holds and whose value is the fill all the same, because a form omits them
  // or a record file leaves the hole. Empty when there are none.
  std::vector<RangeSet> filled;
};

// The file as it came. `read.image` must still have the bytes that it was loaded with.
ByteView file_bytes(const Read& read, const ReadSource& source);

// Splits "MEMORY=FILE"; without an equals sign, or when what stands before it is no name, the whole is the
// file.
ReadFile parse_read_argument(const std::string& argument);

// Lays files into memories. A record file goes where its addresses lie (with several memories that share
// addresses it must be named); a raw file fits a declared form by size and constants, of the named memory
// alone when one is named and the file is not as long as it; else it fills its memory exactly, which needs no
// name when it is the only one of that size.
// kMemoryUnknown, kMemoryMissing (several memories, none named, the size not that of one alone), kImageSize,
// kImageOutside, kFormUnknown (as long as a declared form, but other constants), kFormChecksum (fits, and a
// checksum of the wrapping fails), kFormOpaque (a signature of the map, or nothing fits and nearly all of it
// looks random), kRecordOverlap (two files give the same byte), and the reasons of parse_form().
Result<Read> load_read(const RegionMap& map, std::vector<ReadFile> files);
// The same, and the image holds no more than what the files give, whatever the map declares.
Result<Read> load_held_read(const RegionMap& map, std::vector<ReadFile> files);

// The files again, in the order and form of `read`, with the bytes of `image` and the wrappings' own
// checksums made right; files of the read's own image are the very files. `image` must know every byte that
// they hold. kFormOmits when it has other bytes than the fill where no file holds any.
Result<std::vector<Bytes>> render_read(const RegionMap& map, const Read& read, const Image& image);
// The same, out of an image that nobody needs afterwards: memories that fill their file are not copied.
Result<std::vector<Bytes>> render_read(const RegionMap& map, const Read& read, Image&& image);

// An image of the map's memories with nothing known.
Image blank_image(const RegionMap& map);

}  // namespace calseal
