#include "calseal/cli/image/assign_outputs.h"

#include "calseal/base/text.h"
#include "calseal/report/layout/page.h"

namespace calseal {
namespace {

tl::unexpected<Error> output_usage(std::string found, std::string expected) {
  return fail({Reason::kUsage, "", "--output", std::move(found), std::move(expected),
               "write --output [MEMORY=]FILE for each file of the image"});
}

}  // namespace

Result<std::vector<std::string>> assign_outputs(const std::vector<ReadSource>& sources,
                                                const std::vector<std::string>& outputs) {
  if (outputs.size() != sources.size()) {
    return output_usage(
        counted(outputs.size(), "output", "outputs") + " for " + counted(sources.size(), "file", "files"),
        "one output for each file");
  }
  std::vector<std::string> paths(sources.size());
  std::vector<std::string> unnamed;
  for (const std::string& argument : outputs) {
    const ReadFile output = parse_read_argument(argument);
    if (output.name.empty())
      return output_usage("\"" + printable(argument) + "\", which names no file", "a file to write");
    if (output.memory.empty()) {
      unnamed.push_back(output.name);
      continue;
    }
    std::size_t at = 0;
    while (at < sources.size() && (sources[at].memory != output.memory || !paths[at].empty())) ++at;
    if (at == sources.size())
      return output_usage("\"" + printable(argument) + "\"", "the memory of one of the files given, once");
    paths[at] = output.name;
  }
  auto next = unnamed.begin();
  for (std::string& path : paths) {
    if (path.empty()) path = *next++;
  }
  return paths;
}

}  // namespace calseal
