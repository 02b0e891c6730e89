#include "calseal/job/controller_names.h"

#include <filesystem>

#include "calseal/base/text.h"
#include "calseal/job/layout.h"

namespace calseal {

Result<std::vector<std::string>> controller_names(const std::string& folder) {
  CALSEAL_ASSIGN(std::vector<std::string> names, names_in(folder));
  std::vector<std::string> controllers;
  for (std::string& name : names) {
    if (name.starts_with('.')) continue;
    const std::string file = folder + "/" + name + "/" + std::string(kJobFile);
    std::error_code error;
    const auto type = std::filesystem::symlink_status(file, error).type();
    if (type == std::filesystem::file_type::not_found) continue;
    if (type == std::filesystem::file_type::none) {
      return fail({Reason::kFileUnreadable, printable(file), "", error.message(),
                   "a file that can be looked at", "check the disk and the permissions, then try again"});
    }
    controllers.push_back(std::move(name));
  }
  return controllers;
}

}  // namespace calseal
