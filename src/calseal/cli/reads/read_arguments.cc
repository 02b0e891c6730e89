#include "calseal/cli/reads/read_arguments.h"

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {

Result<RegionMap> load_region_map(const std::string& path) {
  CALSEAL_ASSIGN(Bytes text, read_file(path, kRegionMapSizeLimit));
  return parse_region_map(std::move(text), printable(path));
}

NamedRead parse_named_read(const std::string& argument) {
  const std::string name = argument.substr(0, argument.find('='));
  const std::size_t dot = name.find('.');
  const bool names_both = name.size() < argument.size() && dot != std::string::npos &&
                          is_name(name.substr(0, dot)) && is_name(name.substr(dot + 1));
  if (!names_both) return {"", parse_read_argument(argument)};
  return {name.substr(0, dot), parse_read_argument(argument.substr(dot + 1))};
}

Result<std::vector<ReadFile>> load_read_files(const std::vector<std::string>& arguments) {
  std::vector<ReadFile> files;
  for (const std::string& argument : arguments) {
    ReadFile file = parse_read_argument(argument);
    CALSEAL_ASSIGN(file.bytes, read_file(file.name, kReadFileLimit));
    file.name = printable(file.name);
    files.push_back(std::move(file));
  }
  return files;
}

Result<Read> load_read_arguments(const RegionMap& map, const std::vector<std::string>& arguments) {
  CALSEAL_ASSIGN(std::vector<ReadFile> files, load_read_files(arguments));
  return load_read(map, std::move(files));
}

std::vector<std::string> paths_of(const std::vector<std::string>& arguments) {
  std::vector<std::string> paths;
  for (const std::string& argument : arguments) paths.push_back(parse_read_argument(argument).name);
  return paths;
}

std::string read_name(const std::vector<std::string>& arguments) {
  if (arguments.empty()) return {};
  const std::string first = printable(parse_read_argument(arguments.front()).name);
  return arguments.size() == 1 ? first : first + " and " + std::to_string(arguments.size() - 1) + " more";
}

}  // namespace calseal
