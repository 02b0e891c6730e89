// What a person says of a revision with `calseal seal`, from options and files.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/cli/shop/seal_options.h"
#include "calseal/sign/seal.h"

namespace calseal {

// Fills in what the request's place, base and image do not say.
Status state_words(const SealOptions& options, SealRequest& request);

// Files that go into the bundle, under their own names.
Result<std::vector<Attachment>> load_attachments(const std::vector<std::string>& paths);

}  // namespace calseal
