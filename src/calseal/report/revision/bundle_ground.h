// What a bundle's manifest claims about every byte, for pictures.
#pragma once

#include "calseal/check/open.h"
#include "calseal/report/html/ground.h"

namespace calseal {

PictureGround ground_of(const OpenedBundle& opened);

}  // namespace calseal
