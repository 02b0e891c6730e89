// Init and xorout of CRCs that were found by differences of images.
#pragma once

#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/study/checksum_search.h"

namespace calseal {

// Sets `solved`, `start_is_known` and `may_begin` of every find, and the complemented twin where all images
// have one. A CRC of n bytes is its linear part, plus what init becomes over n bytes, plus xorout. Over
// ranges of one length the two cannot be told apart: init is then 0. Finds of one polynomial, direction and
// byte order over ranges of different lengths give equations for the bits of init (GF(2)). Any two lengths
// can be met, so one solution must serve three; two are enough for all zeros or all ones.
void solve_starts(const std::vector<ByteView>& images, std::vector<Candidate>& found);

}  // namespace calseal
