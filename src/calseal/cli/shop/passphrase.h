// Where a passphrase comes from: a file, the environment, or a person at a terminal; never the command line.
#pragma once

#include <string>

#include "calseal/base/result.h"

namespace calseal {

enum class PassphraseUse : std::uint8_t { kOpen, kChoose };  // chosen ones are asked for twice

// In this order: first line of `file` when not empty; CALSEAL_PASSPHRASE; a prompt without echo when a
// terminal is there. kPassphraseMissing when none of the three gives one; kUsage when two prompts differ.
Result<std::string> obtain_passphrase(const std::string& file, const std::string& what, PassphraseUse use);

}  // namespace calseal
