// A file that grows at its end, with every step on the disk before the next one is taken. The one kind of
// file that is not written whole: entries and details of a ledger.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"

namespace calseal {

class GrownFile {
 public:
  // kFileMissing, kFileUnreadable.
  static Result<GrownFile> open(const std::string& path);
  GrownFile(GrownFile&& other) noexcept;
  GrownFile& operator=(GrownFile&&) = delete;
  ~GrownFile();

  std::uint64_t size() const { return size_; }
  const std::string& shown() const { return shown_; }
  // Exactly these bytes; kFileUnreadable.
  Result<Bytes> read(std::uint64_t at, std::size_t count) const;
  // Takes off what lies behind `size`, synced. kWriteFailed.
  Status cut(std::uint64_t size);
  // Written, synced and read back; the file then ends there, or somebody else writes to it too. Whatever
  // fails, the file is cut back to what it was, as far as the system lets us. kWriteFailed.
  Status append(std::string_view text);

 private:
  GrownFile(int fd, std::uint64_t size, std::string shown);
  tl::unexpected<Error> failed(const std::string& step, int error) const;
  Status write_synced(std::string_view text);

  int fd_;
  std::uint64_t size_;
  std::string shown_;
};

}  // namespace calseal
