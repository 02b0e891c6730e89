#include "calseal/cli/study/receive_files.h"

#include <set>

#include "calseal/cli/reads/parcel_argument.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/shop/parcel_root.h"

namespace calseal {
namespace {

// The files of each read: the first, then those of every --again, which repeats all memories in order.
std::vector<std::vector<std::string>> reads_of(const ReceiveOptions& options) {
  std::vector<std::vector<std::string>> reads = {options.reads};
  for (std::size_t i = 0; i < options.again.size(); ++i) {
    if (i % options.reads.size() == 0) reads.emplace_back();
    reads.back().push_back(options.again[i]);
  }
  return reads;
}

Result<LoadedReads> load_loose(const ReceiveOptions& options) {
  LoadedReads loaded;
  for (const auto& arguments : reads_of(options)) {
    CALSEAL_ASSIGN(std::vector<ReadFile> files, load_read_files(arguments));
    loaded.reads.push_back(std::move(files));
    loaded.names.push_back(read_name(arguments));
  }
  return loaded;
}

// The controller that is meant: the only one of the parcel's reads, or the one that was named.
Result<std::string> controller_in(const OpenedParcel& parcel, const std::string& named) {
  std::set<std::string> controllers;
  for (const ParcelRead& read : parcel.parcel.reads) controllers.insert(read.controller);
  std::string all;
  for (const std::string& one : controllers)
    all += (all.empty() ? "" : ", ") + (one.empty() ? "(none)" : one);
  if (!named.empty() && controllers.contains(named)) return named;
  if (named.empty() && controllers.size() == 1) return *controllers.begin();
  return fail(
      {Reason::kUsage, parcel.name, "--controller",
       controllers.empty() ? "a parcel without a read" : "reads of the controllers " + all,
       "the reads of one",
       controllers.empty() ? "look at it with calseal parcel show" : "name one of them with --controller"});
}

Result<LoadedReads> load_from_parcel(const OpenedParcel& parcel, const std::string& named) {
  CALSEAL_ASSIGN(const std::string controller, controller_in(parcel, named));
  LoadedReads loaded;
  for (std::uint64_t series = 1; series <= kSeriesLimit; ++series) {
    CALSEAL_ASSIGN(std::vector<NamedParcelRead> reads, reads_of_series(parcel, series));
    std::vector<ReadFile> files;
    for (NamedParcelRead& read : reads) {
      if (read.controller == controller) files.push_back(std::move(read.file));
    }
    if (files.empty()) break;
    loaded.names.push_back(parcel.name + (series == 1 ? "" : ", read " + std::to_string(series)));
    loaded.reads.push_back(std::move(files));
  }
  return loaded;
}

}  // namespace

Result<LoadedReads> load_received(const ReceiveOptions& options) {
  CALSEAL_ASSIGN(const SplitArguments given, split_any_parcel(options.reads, options.opening));
  if (!given.parcel) {
    if (options.controller.empty()) return load_loose(options);
    return fail({Reason::kUsage, "", "--controller", "no parcel",
                 "a parcel with reads of several controllers", "leave it out"});
  }
  CALSEAL_CHECK(judge_parcel_root(given.parcel, options.trust, options.successions));
  if (given.files.empty() && options.again.empty())
    return load_from_parcel(*given.parcel, options.controller);
  return fail({Reason::kUsage, "", "FILES", "a parcel and other files", "a parcel alone, or loose files",
               "judge them one after another; calseal parcel unpack gives loose files"});
}

}  // namespace calseal
