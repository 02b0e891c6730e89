#include "calseal/api/correct.h"

#include "calseal/api/given.h"
#include "calseal/change/correct_edit.h"

namespace calseal::api {

Result<Corrected> correct(const Map& map, const std::vector<File>& edited, const std::vector<File>& base) {
  const RegionMap& inside = map.inside();
  CALSEAL_ASSIGN(Read read, load_read(inside, read_files(edited)));
  std::optional<Read> first;
  if (!base.empty()) {
    CALSEAL_ASSIGN(first, load_read(inside, read_files(base)));
  }
  const std::string name = edited.empty() ? "" : edited.front().name;
  CALSEAL_ASSIGN(const CorrectedEdit done,
                 correct_edit(inside, read.image, name, first ? &first->image : nullptr,
                              base.empty() ? "" : base.front().name));
  if (done.proof) CALSEAL_CHECK(require_confined(*done.proof));
  CALSEAL_ASSIGN(std::vector<Bytes> files, render_read(inside, read, read.image));
  Corrected corrected;
  for (std::size_t i = 0; i < files.size(); ++i)
    corrected.files.push_back({edited[i].name, std::move(files[i]), read.sources[i].memory});
  for (const auto& one : done.report.corrections) {
    corrected.corrections.push_back(
        {one.name, inside.memories[one.place.memory].name, one.place.range.begin, one.before, one.after});
  }
  corrected.not_provable = done.report.not_provable;
  return corrected;
}

}  // namespace calseal::api
