// Reading a bundle from a file in bounded memory.
#pragma once

#include <string>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

// As much of a bundle as its judgement can need, so that a large file that nobody sealed costs little memory:
// the prefix first; then, where its signatures hold under `trust` and its manifest can be read, on to the end
// that follows from the manifest, and one byte more when the file goes on there, which verify_framing() then
// finds. Each byte is read once. check_bundle() judges what comes back as it judges the whole file, with the
// same reason. `trust`: nullptr when there is none that holds. Errors are those of read_file().
Result<Bytes> read_bundle(const std::string& path, const TrustFile* trust);

}  // namespace calseal
