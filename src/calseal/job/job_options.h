// The option files that a job folder keeps.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/job/job.h"
#include "calseal/option/compose.h"
#include "calseal/option/option_file.h"

namespace calseal {

// Files within the folder. The first that cannot be read is the error.
Result<std::vector<OptionFile>> load_option_files(const Job& job, const std::vector<std::string>& files);

// The options of a revision, found by the digests that its manifest names. kJobDamaged, naming the first that
// the folder does not have.
Result<std::vector<OptionFile>> options_of(const Job& job, const JobBase& base, const Manifest& manifest);

// The options that are in force on a base: those of its newest revision; all that are kept while there is
// none but revision 0.
Result<std::vector<OptionFile>> options_in_force(const Job& job, const JobBase& base);

// Where an option that came with a send is to be kept: beside the edit, under the revision's number. So a run
// that is cut off leaves nothing that looks like an order. Empty when the folder has its digest already.
std::string option_file_to_write(const Job& job, const OptionFile& option, std::uint64_t revision);

// Puts those options into an edited image of which it holds nothing, and returns their names. They are
// composed on the base, all options together. An option that the edit holds in part is left as it is: the
// account will say so. The first problem of lay_options() is the error. `plan` is of `base`.
Result<std::vector<std::string>> put_in_options(const Plan& plan, const Image& base,
                                                const std::vector<OptionFile>& options,
                                                const StatedConditions& stated, Image& edited);

// The first of `others` that stands whole in an image and explains bytes there that none of `declared` does;
// nothing: none. `plan` is of `base`.
Result<const OptionFile*> find_undeclared(const Plan& plan, const Image& base, const Image& image,
                                          const std::vector<OptionFile>& declared,
                                          const std::vector<OptionFile>& others);

}  // namespace calseal
