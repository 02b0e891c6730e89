#include "calseal/cli/archive/audit_part.h"

#include <cstdlib>
#include <optional>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/shop/stated.h"

namespace calseal {
namespace {

std::optional<std::uint64_t> number(const std::string& text) {
  if (text.empty() || text.size() > 10 || text.find_first_not_of("0123456789") != std::string::npos)
    return std::nullopt;
  return std::stoull(text);
}

std::optional<std::uint64_t> variable(const char* name) {
  const char* const text = std::getenv(name);
  return text == nullptr ? std::nullopt : number(text);
}

tl::unexpected<Error> refused(std::string found) {
  return fail(usage_error(
      "--part", std::move(found),
      "K/N with 1 <= K <= N <= " + std::to_string(kPartLimit) + ", or auto under a Slurm array or Open MPI",
      "name each of the N parts once"));
}

Result<Part> checked(std::uint64_t number, std::uint64_t of, const std::string& found) {
  if (number == 0 || number > of || of > kPartLimit) return refused(found);
  return Part{number, of};
}

Result<Part> part_of_environment() {
  if (const auto id = variable("SLURM_ARRAY_TASK_ID")) {
    const std::uint64_t least = variable("SLURM_ARRAY_TASK_MIN").value_or(0);
    const std::uint64_t step = variable("SLURM_ARRAY_TASK_STEP").value_or(1);
    const std::string found = "SLURM_ARRAY_TASK_ID " + std::to_string(*id);
    if (step == 0 || *id < least || (*id - least) % step != 0) return refused(found);
    return checked((*id - least) / step + 1, variable("SLURM_ARRAY_TASK_COUNT").value_or(0), found);
  }
  if (const auto rank = variable("OMPI_COMM_WORLD_RANK")) {
    return checked(*rank + 1, variable("OMPI_COMM_WORLD_SIZE").value_or(0),
                   "OMPI_COMM_WORLD_RANK " + std::to_string(*rank));
  }
  return refused("auto, and neither SLURM_ARRAY_TASK_ID nor OMPI_COMM_WORLD_RANK");
}

}  // namespace

Result<Part> stated_part(const std::string& text) {
  if (text.empty()) return Part{};
  if (text == "auto") return part_of_environment();
  const std::size_t slash = text.find('/');
  const auto part = number(text.substr(0, slash));
  const auto of = slash == std::string::npos ? std::nullopt : number(text.substr(slash + 1));
  if (!part || !of) return refused(text);
  return checked(*part, *of, text);
}

std::string path_of_part(std::string path, const Part& part) {
  constexpr std::string_view kPlace = "{part}";
  if (const std::size_t at = path.find(kPlace); at != std::string::npos)
    path.replace(at, kPlace.size(), std::to_string(part.number));
  return path;
}

void say_part(const Part& part, const AuditRecord& record, const std::string& path, const Console& console) {
  const std::string name = std::to_string(part.number) + " of " + std::to_string(part.of);
  console.print("part " + name + ": " + grouped(record.files.size()) + " of " + grouped(record.scope.files) +
                " files looked at" + (record.whole ? "" : ", then stopped") +
                "; calseal audit merge judges all parts together\n");
  console.print_json(json_object({{"calseal", json("audit-part/1")},
                                  {"part", json(part.number)},
                                  {"of", json(part.of)},
                                  {"files", json(record.scope.files)},
                                  {"looked_at", json(record.files.size())},
                                  {"whole", json(record.whole)},
                                  {"record", json(printable(path, kShownPathLimit))}}));
}

}  // namespace calseal
