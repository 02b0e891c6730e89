#include "calseal/cli/reads/parcel_argument.h"

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/parcel/closed.h"
#include "calseal/parcel/unpack.h"

namespace calseal {
namespace {

constexpr std::uint64_t kBeginning = 64;  // bytes

// Empty where nothing can be read.
Bytes beginning_of(const std::string& path) {
  Result<PartialFile> file = PartialFile::open(path, kBundleSizeLimit);
  Bytes beginning;
  if (file && !file->read_up_to(kBeginning, beginning)) beginning.clear();
  return beginning;
}

}  // namespace

bool is_closed_parcel_file(const std::string& path) { return begins_as_closed_parcel(beginning_of(path)); }

Result<SplitArguments> split_parcel(const std::vector<std::string>& arguments, const ParcelReader& read) {
  SplitArguments split;
  for (const std::string& argument : arguments) {
    const Bytes beginning = beginning_of(argument);
    if (!begins_as_parcel(beginning) && !begins_as_closed_parcel(beginning)) {
      split.files.push_back(argument);
      continue;
    }
    if (split.parcel) {
      return fail({Reason::kUsage, printable(argument), "", "a second parcel", "one at a time",
                   "take the parcels one after another, oldest first"});
    }
    CALSEAL_ASSIGN(split.parcel, read(argument));
  }
  return split;
}

Result<std::vector<NamedParcelRead>> reads_of_series(const OpenedParcel& parcel, std::uint64_t series) {
  const std::vector<std::string> names = unpacked_names(parcel.parcel);
  std::vector<NamedParcelRead> reads;
  for (std::size_t i = 0; i < parcel.parcel.reads.size(); ++i) {
    const ParcelRead& read = parcel.parcel.reads[i];
    if (read.series != series) continue;
    NamedParcelRead named{read.controller, {read.memory, parcel.name + ": " + names[i], {}}};
    CALSEAL_ASSIGN(named.file.bytes, parcel.content(i));
    reads.push_back(std::move(named));
  }
  return reads;
}

}  // namespace calseal
