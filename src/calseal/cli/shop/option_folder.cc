#include "calseal/cli/shop/option_folder.h"

#include "calseal/study/folder_entries.h"

namespace calseal {

Result<std::vector<OptionFile>> load_option_folder(const std::string& folder) {
  constexpr std::size_t kFileLimit = 4096;
  std::vector<std::string> paths;
  CALSEAL_ASSIGN(const auto entries,
                 folder_entries(folder, {"a folder of option files", "name the folder of the shop's options",
                                         ".json", kFileLimit, "files", "name a folder with less in it"}));
  for (const auto& entry : entries) paths.push_back(entry.string());
  return load_options(paths);
}

}  // namespace calseal
