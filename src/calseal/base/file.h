// Whole files in, whole files out.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"

namespace calseal {

// Reads a file once, whole, into private memory. "-" is not special. Regular files only (also through a
// link). kFileMissing, kFileUnreadable (folder, device, permission), kFileEmpty, kFileTooLarge (more than
// `limit` bytes).
Result<Bytes> read_file(const std::string& path, std::uint64_t limit);

// A file of which a reader takes as much as it has reason to: opened once, read from its beginning in order,
// each byte once. Same files and errors as read_file().
class PartialFile {
 public:
  static Result<PartialFile> open(const std::string& path, std::uint64_t limit);
  PartialFile(PartialFile&& other) noexcept;
  PartialFile& operator=(PartialFile&&) = delete;
  ~PartialFile();

  std::uint64_t size() const { return size_; }
  // Appends to `bytes`, which holds what was read before, until it holds `count` bytes or the whole file.
  // kFileUnreadable also when the file has become shorter.
  Status read_up_to(std::uint64_t count, Bytes& bytes);
  // The next bytes, at most `most`, into `piece`, which holds nothing else; empty at the end, where the file
  // must end too.
  Status read_next(std::size_t most, Bytes& piece);
  // After the whole file was read: kFileUnreadable when it has become longer.
  Status expect_end() const;

 private:
  PartialFile(int fd, std::uint64_t size, std::string shown);
  int fd_;
  std::uint64_t size_;
  std::uint64_t at_ = 0;  // of read_next()
  std::string shown_;
};

// Who may read a file that we write. A file that is replaced by one that is not private keeps its mode.
enum class FileMode : std::uint8_t {
  kPublic,   // as the umask says
  kVehicle,  // holds what a read holds, a VIN perhaps: its owner alone, until he says otherwise
  kPrivate   // its owner alone, always
};

// What to do when the name is taken.
enum class Existing : std::uint8_t { kReplace, kRefuse };

// The next bytes of something that nobody holds whole, split anywhere; empty at the end. Views are valid
// until the next call.
using Pieces = std::function<Result<ByteView>()>;

struct PendingFile {
  std::string path;
  ByteView bytes;
  FileMode mode = FileMode::kPublic;
  Existing existing = Existing::kReplace;
  Pieces pieces = nullptr;  // where there are any, these are written instead of `bytes`
};

// Writes all files or none: each whole under a name that nobody sees, synced, read back and compared, then
// given their final names, then the folders synced. Whatever fails or interrupts before the last of these
// leaves every final name as it was, and so does what `pieces` fails with (a second replaced file, when the
// file system cannot exchange two names, excepted). Names must differ. Only a regular file is ever replaced:
// a link, device, pipe or socket stays as it is. kWriteFailed, kOutputExists (Existing::kRefuse; anything
// that is no regular file).
Status write_files(const std::vector<PendingFile>& files);

Status write_file(const std::string& path, ByteView bytes, FileMode mode = FileMode::kPublic,
                  Existing existing = Existing::kReplace);

// Every output is a file of its own: kOutputIsInput when one leads to the same file as an input, kUsage when
// two outputs lead to one place, however their names are spelt.
Status refuse_clashes(const std::vector<std::string>& outputs, const std::vector<std::string>& inputs);

}  // namespace calseal
