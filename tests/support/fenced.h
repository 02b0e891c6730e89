// Memory whose neighbours on both sides may not be read.
#pragma once

#include <sys/mman.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>

#include "calseal/base/bytes.h"

namespace calseal {

class Fenced {
 public:
  Fenced() {
    begin_ =
        static_cast<std::uint8_t*>(mmap(nullptr, 3 * page(), PROT_NONE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0));
    if (mprotect(begin_ + page(), page(), PROT_READ | PROT_WRITE) != 0) abort();
  }
  ~Fenced() { munmap(begin_, 3 * page()); }
  Fenced(const Fenced&) = delete;
  Fenced& operator=(const Fenced&) = delete;

  // Copies of `bytes` at the very start and at the very end.
  ByteView at_start(ByteView bytes) { return put(begin_ + page(), bytes); }
  ByteView at_end(ByteView bytes) { return put(begin_ + 2 * page() - bytes.size(), bytes); }

 private:
  static std::size_t page() { return static_cast<std::size_t>(sysconf(_SC_PAGESIZE)); }
  static ByteView put(std::uint8_t* at, ByteView bytes) {
    std::copy(bytes.begin(), bytes.end(), at);
    return ByteView(at, bytes.size());
  }
  std::uint8_t* begin_;
};

}  // namespace calseal
