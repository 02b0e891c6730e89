// Fresh memory costs a fault for every 4 KiB touched, which is more than comparing what lies there.
#pragma once

namespace calseal {

// Has the allocator take images from its own heap, keep what is freed, and ask the system for large pages
// there. A wish only: where the C library or the system has nothing of the kind, nothing changes.
void ask_for_large_pages();

}  // namespace calseal
