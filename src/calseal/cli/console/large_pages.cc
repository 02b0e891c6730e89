#include "calseal/cli/console/large_pages.h"

#include <cstddef>
#include <cstdint>
#include <cstdlib>

#if defined(__GLIBC__) && defined(__linux__)
#include <malloc.h>
#include <sys/mman.h>
#include <unistd.h>
#endif

namespace calseal {

void ask_for_large_pages() {
#if defined(__GLIBC__) && defined(__linux__)
  constexpr int kHeap = 32 << 20;  // bytes: the images of one check; taken up only as they are touched
  mallopt(M_MMAP_THRESHOLD, kHeap);
  mallopt(M_TRIM_THRESHOLD, 2 * kHeap);
  mallopt(M_TOP_PAD, kHeap);
  // More than is left of the heap that every process begins with, so that it grows; what comes before the end
  // of this stays in small pages, which is enough for a command that reads no image.
  constexpr std::size_t kGrows = std::size_t{1} << 20;
  void* const block = std::malloc(kGrows);
  if (block == nullptr) return;
  const auto page = static_cast<std::uintptr_t>(sysconf(_SC_PAGESIZE));
  const std::uintptr_t begin = (reinterpret_cast<std::uintptr_t>(block) + kGrows + page - 1) / page * page;
  const auto end = reinterpret_cast<std::uintptr_t>(sbrk(0));
  // The address is the heap's own; a block from elsewhere would lie above its end.
  if (begin < end && end - begin <= std::uintptr_t{3} * kHeap)
    madvise(reinterpret_cast<void*>(begin), end - begin, MADV_HUGEPAGE);
  std::free(block);
  mallopt(M_TOP_PAD, 1 << 20);
#endif
}

}  // namespace calseal
