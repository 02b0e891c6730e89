// Which of several images speak for a find: those in which what it says might have turned out otherwise.
#pragma once

#include <cstddef>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/study/search_hit.h"

namespace calseal {

// Whether the slot holds different values in images that differ in what is covered. A value that stays while
// what it is to vouch for changes is none.
bool slot_varies(const std::vector<ByteView>& images, const Hit& hit);

// Whether two images differ in what is covered, slots aside.
bool coverage_varies(const std::vector<ByteView>& images, const Hit& hit);

// How many images support the hit, each for itself. With a slot: as many as hold different values in it. A
// rule says the same in all: an edit and the word that makes up for it cancel each other in every range that
// has both, so an image counts only when it differs from those before it up to both ends of what is covered,
// give or take `step` bytes and what is unused.
std::size_t supporting_images(const std::vector<ByteView>& images, const Hit& hit, std::uint64_t step);

}  // namespace calseal
