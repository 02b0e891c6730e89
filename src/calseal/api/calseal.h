// calseal for C++ programs: judge a bundle, seal one, correct an edited image, and the arithmetic beneath.
// docs/cpp-api.md tells more and shows an example. An error is a value: see base/result.h.
#pragma once

#include "calseal/api/check.h"
#include "calseal/api/correct.h"
#include "calseal/api/region_map.h"
#include "calseal/api/seal.h"
#include "calseal/api/verdict.h"
#include "calseal/digest/crc.h"
#include "calseal/digest/sha256.h"
