#include <algorithm>
#include <map>

#include "calseal/archive/judging.h"
#include "calseal/archive/path_text.h"
#include "calseal/job/layout.h"

namespace calseal {
namespace {

// Number of the revision and, of a reissue, the sequence in a bundle's name: "r2.calseal",
// "r2-full-9.calseal".
struct BundleName {
  std::uint64_t revision = 0;
  std::uint64_t full_sequence = 0;
};
std::optional<BundleName> parse_bundle_name(std::string_view name) {
  if (!name.starts_with('r') || !name.ends_with(".calseal")) return std::nullopt;
  const std::string_view middle = name.substr(1, name.size() - 9);
  const auto number = [](std::string_view digits) -> std::optional<std::uint64_t> {
    if (digits.empty() || digits.size() > 13 ||
        digits.find_first_not_of("0123456789") != std::string_view::npos)
      return std::nullopt;
    return std::stoull(std::string(digits));
  };
  const std::size_t full = middle.find("-full-");
  const auto revision = number(middle.substr(0, full));
  if (!revision) return std::nullopt;
  if (full == std::string_view::npos) return BundleName{*revision, 0};
  const auto sequence = number(middle.substr(full + 6));
  if (!sequence) return std::nullopt;
  return BundleName{*revision, *sequence};
}

// Name of a file of a read without its extension. A file that was given without a memory has none in its
// name, although revision 0 may know which one it is.
std::string read_name(const NamedDigest& received) {
  return received.name.empty() ? std::string(kNoMemory) : received.name;
}

class JobFolder {
 public:
  JobFolder(Judging& judging, const std::string& folder) : judging_(judging), folder_(folder) {
    const auto& files = judging.record().files;
    const std::string within = folder.empty() ? "" : folder + "/";
    for (auto at = std::ranges::lower_bound(files, within, {}, &FileFacts::path);
         at != files.end() && at->path.starts_with(within); ++at) {
      const std::string_view rest = std::string_view(at->path).substr(within.size());
      const std::size_t slash = rest.find('/');
      if (slash == std::string_view::npos) continue;
      if (const auto base = base_of_folder(rest.substr(0, slash)))
        bases_[*base].push_back({std::string(rest.substr(slash + 1)), &*at});
    }
  }

  void judge() {
    if (bases_.empty()) return;
    judge_job();
    if (const FileFacts* const events = own(kEventsFile)) {
      judge_attached(*events);
    } else {
      missing(kEventsFile, FileKind::kJobEvents);
    }
    for (const auto& [number, files] : bases_) judge_base(number, files);
    judge_salt();
  }

 private:
  struct BaseFile {
    std::string name;  // within the base's folder
    const FileFacts* facts;
  };

  const FileFacts* own(std::string_view name) const {
    return judging_.record().find(join_path(folder_, name));
  }

  Finding& missing(std::string_view name, FileKind kind) {
    const std::string path = join_path(folder_, name);
    Finding& finding =
        judging_.find(FindingCode::kJobFileMissing, path, "", "this job folder has no such file");
    finding.wanted = WantedFile{WantedFile::By::kPlace, path, {}, kind, std::nullopt};
    return finding;
  }

  // The folder's job is the one of most bundles in it; where these do not tell, that of job.json.
  void judge_job() {
    std::map<std::pair<std::string, std::string>, std::size_t> votes;
    for (const auto& [number, files] : bases_) {
      for (const BaseFile& file : files) {
        if (file.name.find('/') == std::string::npos && file.facts->revision)
          ++votes[{file.facts->revision->job, file.facts->revision->controller}];
      }
    }
    const FileFacts* const facts = own(kJobFile);
    if (facts == nullptr) missing(kJobFile, FileKind::kJobFacts);
    const bool told = facts != nullptr && facts->job;
    std::pair<std::string, std::string> job;
    if (told) job = {facts->job->job, facts->job->controller};
    std::size_t most = told ? votes[job] : 0;
    for (const auto& [name, count] : votes) {
      if (count <= most) continue;
      most = count;
      job = name;
    }
    std::tie(job_, controller_) = job;
    if (!told || (facts->job->job == job_ && facts->job->controller == controller_)) return;
    judging_
        .find(FindingCode::kJobAltered, facts->path, "",
              "of job " + facts->job->job + ", " + facts->job->controller + "; its bundles are of job " +
                  job_ + ", " + controller_)
        .wanted = WantedFile{WantedFile::By::kPlace, facts->path, {}, FileKind::kJobFacts, std::nullopt};
  }

  void judge_attached(const FileFacts& events) {
    if (!events.job) return;
    for (const NamedDigest& attached : events.job->attached) {
      const std::string path = join_path(folder_, attached.name);
      const FileFacts* const there = judging_.record().find(path);
      const WantedFile wanted{WantedFile::By::kBytes, path, attached.digest, FileKind::kUnknown,
                              std::nullopt};
      if (there == nullptr) {
        missing(attached.name, FileKind::kUnknown).wanted = wanted;
      } else if (there->digest && there->digest != attached.digest && there->kind != FileKind::kBundle) {
        judging_.find(FindingCode::kFileChanged, path, "", "the job's notes name it with another digest")
            .wanted = wanted;
      }
    }
  }

  void judge_base(std::uint64_t number, const std::vector<BaseFile>& files) {
    std::vector<const RevisionClaim*> way_backs;
    std::vector<const RevisionClaim*> all;
    for (const BaseFile& file : files) {
      if (file.name.find('/') != std::string::npos || !file.facts->revision) continue;
      if (is_in_place(number, file)) {
        all.push_back(&*file.facts->revision);
        if (file.facts->revision->revision == 0) way_backs.push_back(all.back());
      }
    }
    for (const RevisionClaim* claim : way_backs) salts_.push_back(claim->salt);
    // Later revisions may be sealed with a later version, which is a file of its own.
    judge_map(number, way_backs.empty() ? all : way_backs);
    if (!way_backs.empty()) judge_reads(number, files, way_backs);
    judge_options(number, files, all);
  }

  // Whether a bundle is the one that its place and name say.
  bool is_in_place(std::uint64_t number, const BaseFile& file) {
    const RevisionClaim& claim = *file.facts->revision;
    const auto name = parse_bundle_name(file.name);
    const bool right_job = job_.empty() || (claim.job == job_ && claim.controller == controller_);
    const bool right_name = !name || (name->revision == claim.revision &&
                                      (name->full_sequence == 0 || name->full_sequence == claim.sequence));
    if (right_job && right_name && claim.base == number) return true;
    Finding& finding = judging_.find(FindingCode::kMisplaced, file.facts->path, revision_subject(claim),
                                     "holds " + revision_subject(claim));
    finding.wanted =
        WantedFile{WantedFile::By::kPlace, file.facts->path, {}, FileKind::kBundle, std::nullopt};
    if (!name) return false;
    for (const LedgerSeal* seal : judging_.seals()) {
      if (seal->job != job_ || seal->controller != controller_ || seal->base != number ||
          seal->revision != name->revision ||
          (name->full_sequence != 0 && seal->sequence != name->full_sequence))
        continue;
      finding.wanted = WantedFile{WantedFile::By::kIdentity, file.facts->path, seal->identity,
                                  FileKind::kBundle, std::nullopt};
      break;
    }
    return false;
  }

  void judge_map(std::uint64_t number, const std::vector<const RevisionClaim*>& all) {
    if (all.empty()) return;
    const std::string name = base_folder(number) + "/" + std::string(kRegionsFile);
    const FileFacts* const there = own(name);
    const WantedFile wanted{WantedFile::By::kBytes, join_path(folder_, name), all.front()->map,
                            FileKind::kRegionMap, std::nullopt};
    if (there == nullptr) {
      missing(name, FileKind::kRegionMap).wanted = wanted;
      return;
    }
    if (!there->digest ||
        std::ranges::any_of(all, [&](const RevisionClaim* claim) { return claim->map == *there->digest; }))
      return;
    judging_.find(FindingCode::kMapAltered, there->path, "", "this base was not sealed with it").wanted =
        wanted;
  }

  void judge_reads(std::uint64_t number, const std::vector<BaseFile>& files,
                   const std::vector<const RevisionClaim*>& way_backs) {
    std::vector<NamedDigest> named;
    for (const RevisionClaim* claim : way_backs)
      named.insert(named.end(), claim->received.begin(), claim->received.end());
    const auto is_named = [&](const std::string& memory, const std::optional<Sha256>& digest) {
      return digest && std::ranges::any_of(named, [&](const NamedDigest& one) {
               return one.digest == *digest && (memory == kNoMemory || read_name(one) == memory);
             });
    };
    const std::string folder = base_folder(number) + "/read/";
    std::map<std::string, const FileFacts*> by_memory;
    for (const BaseFile& file : files) {
      if (!file.name.starts_with("read/")) continue;
      const std::string name = file.name.substr(5);
      const std::string memory = name.substr(0, name.find('.'));
      by_memory[memory] = file.facts;
      // A bundle has no digest of its own bytes, and is no read.
      if (file.facts->fault && !file.facts->digest) continue;
      if (is_named(memory, file.facts->digest)) continue;
      judging_.find(FindingCode::kReadAltered, file.facts->path, "",
                    "revision 0 was sealed from another file");
    }
    for (const NamedDigest& one : way_backs.front()->received) {
      const std::string memory = read_name(one);
      auto there = by_memory.find(memory);
      if (there == by_memory.end()) there = by_memory.find(std::string(kNoMemory));
      if (there != by_memory.end()) {
        judging_.want_at(there->second->path, {WantedFile::By::kBytes, there->second->path, one.digest,
                                               FileKind::kUnknown, std::nullopt});
        continue;
      }
      // What many jobs have may be kept once, anywhere in the archive.
      if (judging_.holds_digest(one.digest)) continue;
      const std::string name = name_before(folder, memory);
      missing(name, FileKind::kUnknown).wanted = WantedFile{WantedFile::By::kBytes, join_path(folder_, name),
                                                            one.digest, FileKind::kUnknown, std::nullopt};
    }
  }

  // The name that a file of a read had at the earlier audit; else the one that a raw file has.
  std::string name_before(const std::string& folder, const std::string& memory) const {
    const std::string within = join_path(folder_, folder) + memory + ".";
    if (judging_.earlier() != nullptr) {
      const auto& files = judging_.earlier()->files;
      const auto at = std::ranges::lower_bound(files, within, {}, &FileFacts::path);
      if (at != files.end() && at->path.starts_with(within)) return folder + std::string(name_of(at->path));
    }
    return folder + memory + ".bin";
  }

  void judge_options(std::uint64_t number, const std::vector<BaseFile>& files,
                     const std::vector<const RevisionClaim*>& all) {
    for (const RevisionClaim* claim : all) {
      for (const Sha256& option : claim->options) {
        if (std::ranges::any_of(files, [&](const BaseFile& file) {
              return holds_option(file.name) && file.facts->digest == option;
            }))
          continue;
        const std::string path = join_path(folder_, base_folder(number) + "/options");
        judging_
            .find(FindingCode::kOptionMissing, path, "option " + digest_text(option),
                  "named by revision " + std::to_string(claim->revision))
            .wanted = wanted_option(join_path(folder_, base_folder(number)), option);
      }
    }
  }

  // Options that came with the base, or with a send.
  static bool holds_option(std::string_view name) {
    return name.starts_with("options/") || (name.starts_with("edited/") && name.ends_with(kSentOptionEnd));
  }

  WantedFile wanted_option(const std::string& folder, const Sha256& option) const {
    WantedFile wanted{WantedFile::By::kBytes, "", option, FileKind::kOption, std::nullopt};
    if (judging_.earlier() == nullptr) return wanted;
    for (const FileFacts& before : judging_.earlier()->files) {
      if (before.digest == option && before.path.starts_with(folder + "/")) wanted.path = before.path;
    }
    return wanted;
  }

  void judge_salt() {
    const auto sealed = std::ranges::find_if(salts_, [](const auto& salt) { return salt.has_value(); });
    if (sealed == salts_.end()) return;
    const std::string path = join_path(folder_, kSaltFile);
    const WantedFile wanted{WantedFile::By::kSalt, path, **sealed, FileKind::kSalt, std::nullopt};
    const FileFacts* const there = own(kSaltFile);
    if (there == nullptr) {
      missing(kSaltFile, FileKind::kSalt).wanted = wanted;
    } else if (there->salt != **sealed) {
      judging_.find(FindingCode::kSaltAltered, path, "", "the revisions were sealed with another salt")
          .wanted = wanted;
    }
  }

  Judging& judging_;
  const std::string& folder_;
  std::string job_, controller_;
  std::map<std::uint64_t, std::vector<BaseFile>> bases_;
  std::vector<std::optional<Sha256>> salts_;
};

}  // namespace

void judge_job_folders(Judging& judging) {
  for (const std::string& folder : judging.job_folders()) JobFolder(judging, folder).judge();
}

}  // namespace calseal
