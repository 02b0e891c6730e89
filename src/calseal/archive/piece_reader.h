// Files read in large pieces into private memory that is used again for every file, so that a run needs as
// much of it for a tree of any size.
#pragma once

#include <cstdint>
#include <memory>
#include <string>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"

namespace calseal {

class PieceReader {
 public:
  PieceReader();
  PieceReader(const PieceReader&) = delete;
  PieceReader& operator=(const PieceReader&) = delete;
  ~PieceReader();

  // Begins with a regular file; no link in the last place is followed. Errors are those of read_file(); an
  // empty file is none.
  Status open(const std::string& path, std::uint64_t limit);
  std::uint64_t size() const { return size_; }

  // The first kPrefixSizeLimit bytes, or all; once, before next(). Views are valid until the next call.
  Result<ByteView> beginning();
  // What follows, piece by piece; empty at the end. kFileUnreadable also when the file has another size than
  // it had when it was opened.
  Result<ByteView> next();

 private:
  Result<ByteView> read(std::size_t wanted);
  tl::unexpected<Error> unreadable(const std::string& found) const;
  void close();

  std::unique_ptr<std::uint8_t[]> buffer_;
  int fd_ = -1;
  std::uint64_t size_ = 0, at_ = 0;
  std::string shown_;
};

// Asks the system to have the file in memory soon; says nothing when it cannot.
void read_ahead(const std::string& path);

}  // namespace calseal
