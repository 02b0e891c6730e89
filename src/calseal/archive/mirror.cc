#include "calseal/archive/mirror.h"

#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <map>
#include <optional>
#include <set>

#include "calseal/archive/examine.h"
#include "calseal/archive/path_text.h"
#include "calseal/base/file.h"
#include "calseal/base/interrupt.h"
#include "calseal/base/text.h"
#include "calseal/check/open.h"
#include "calseal/job/event.h"
#include "calseal/ledger/layout.h"
#include "calseal/ledger/lock.h"

namespace calseal {
namespace {

constexpr std::uint64_t kHealedFileLimit = kBundleSizeLimit;  // bytes

bool is_ledger_part(FileKind kind) {
  return kind == FileKind::kLedgerEntries || kind == FileKind::kLedgerDetails || kind == FileKind::kLedgerTip;
}

bool may_be_read_by_others(const std::string& place) {
  struct stat status {};
  return ::stat(place.c_str(), &status) != 0 || (status.st_mode & 077) != 0;
}

// Notes without the lines that are none.
std::string readable_lines(std::string_view notes) {
  std::string lines;
  while (!notes.empty()) {
    const std::size_t end = std::min(notes.find('\n'), notes.size() - 1);
    if (parse_events(notes.substr(0, end), "").events.size() == 1) lines += notes.substr(0, end + 1);
    notes.remove_prefix(end + 1);
  }
  return lines;
}

// The second tree: each file is looked at once, and only when something asks for one like it.
class Mirror {
 public:
  Mirror(const Survey& survey, std::vector<const TrustFile*> trust)
      : survey_(survey),
        context_(make_examine_context(survey, Depth::kStored, std::move(trust))),
        examiner_(context_) {
    for (const SurveyedFile& file : survey.files) {
      by_size_[file.size()].push_back(&file);
      if (file.hint) by_job_[file.hint->job].push_back(&file);
    }
  }

  const Survey& survey() const { return survey_; }

  const FileFacts& facts_of(const SurveyedFile& file) {
    const auto found = facts_.find(file.path);
    if (found != facts_.end()) return found->second;
    return facts_.emplace(file.path, std::move(examiner_.examine({&file}).front())).first->second;
  }

  // Whether these bytes, read anew, are those that facts_of() was about.
  bool is_still(const SurveyedFile& file, const Bytes& bytes) {
    const FileFacts& facts = facts_of(file);
    if (file.kind != FileKind::kBundle) return facts.digest == compute_sha256(bytes);
    OpenContext context;
    context.roles = RolesRule::kMayBeMissing;
    context.trust = context_.trust.front();
    const StoredBundle stored = open_whole(bytes, file.path, context);
    return !stored.reason && facts.revision && stored.seal_digest == facts.revision->seal;
  }

  // The file at the same path first, then all others in their order.
  template <typename Accept>
  const SurveyedFile* first(const std::string& path, const std::vector<const SurveyedFile*>& files,
                            Accept accept) {
    if (const SurveyedFile* const same = survey_.find(path); same != nullptr && accept(*same)) return same;
    for (const SurveyedFile* file : files) {
      if (file->path != path && accept(*file)) return file;
    }
    return nullptr;
  }

  const SurveyedFile* bundle(const Sha256& identity, const std::string& path,
                             const std::optional<std::string>& job) {
    const auto accept = [&](const SurveyedFile& file) {
      if (file.kind != FileKind::kBundle) return false;
      const FileFacts& facts = facts_of(file);
      return !facts.fault && facts.revision && facts.revision->identity == identity;
    };
    if (job) {
      const auto found = by_job_.find(*job);
      return first(path, found == by_job_.end() ? std::vector<const SurveyedFile*>() : found->second, accept);
    }
    std::vector<const SurveyedFile*> all;
    for (const auto& [name, files] : by_job_) all.insert(all.end(), files.begin(), files.end());
    return first(path, all, accept);
  }

  const SurveyedFile* file(const Sha256& digest, const std::string& path,
                           const std::optional<std::uint64_t>& size) {
    const auto accept = [&](const SurveyedFile& file) {
      return file.kind != FileKind::kBundle && facts_of(file).digest == digest;
    };
    if (size) return first(path, by_size_[*size], accept);
    std::vector<const SurveyedFile*> all;
    for (const SurveyedFile& file : survey_.files) all.push_back(&file);
    return first(path, all, accept);
  }

  const SurveyedFile* salt(const Sha256& digest, const std::string& path) {
    std::vector<const SurveyedFile*> all;
    for (const SurveyedFile& file : survey_.files) {
      if (file.kind == FileKind::kSalt) all.push_back(&file);
    }
    return first(path, all, [&](const SurveyedFile& file) { return facts_of(file).salt == digest; });
  }

  // What nothing names: the same place, the same kind, and it holds.
  const SurveyedFile* in_place(const WantedFile& wanted) {
    const SurveyedFile* const file = survey_.find(wanted.path);
    if (file == nullptr || file->kind != wanted.kind || is_ledger_part(file->kind)) return nullptr;
    if (wanted.hint && file->hint != wanted.hint) return nullptr;
    // Kinds that say nothing about themselves cannot hold.
    if (file->kind == FileKind::kUnknown || file->kind == FileKind::kEmpty) return nullptr;
    const FileFacts& facts = facts_of(*file);
    return facts.fault || (file->kind == FileKind::kBundle && !facts.revision) ? nullptr : file;
  }

 private:
  const Survey& survey_;
  ExamineContext context_;
  Examiner examiner_;
  std::map<std::uint64_t, std::vector<const SurveyedFile*>> by_size_;
  std::map<std::string, std::vector<const SurveyedFile*>> by_job_;
  std::map<std::string, FileFacts> facts_;
};

class Healing {
 public:
  Healing(const MirrorRequest& request, Judgement& judgement)
      : request_(request), judgement_(judgement), mirror_(*request.mirror, request.trust) {}

  Healed run() {
    for (Finding& finding : judgement_.findings) {
      if (finding.age == FindingAge::kGone || !finding.wanted) continue;
      if (request_.stop && request_.stop()) break;
      if (is_of_ledger(finding)) {
        look_for_ledger(finding);
        continue;
      }
      const SurveyedFile* const copy = find_copy(*finding.wanted);
      if (copy == nullptr) continue;
      finding.copy = request_.mirror->place(*copy);
      ++healed_.found;
      if (request_.heal && !finding.wanted->path.empty())
        finding.healed = put_back(finding.wanted->path, *copy);
    }
    return std::move(healed_);
  }

 private:
  // --- one file

  const SurveyedFile* find_copy(const WantedFile& wanted) {
    switch (wanted.by) {
      case WantedFile::By::kIdentity:
        return mirror_.bundle(wanted.digest, wanted.path, job_of(wanted.digest));
      case WantedFile::By::kBytes:
        if (wanted.kind == FileKind::kJobEvents) return continued(wanted);
        return mirror_.file(wanted.digest, wanted.path, size_of(wanted));
      case WantedFile::By::kSalt:
        return mirror_.salt(wanted.digest, wanted.path);
      case WantedFile::By::kPlace:
        return mirror_.in_place(wanted);
    }
    return nullptr;
  }

  std::optional<std::string> job_of(const Sha256& identity) {
    if (jobs_.empty()) {
      for (const AuditRecord* record : {request_.record, request_.earlier}) {
        if (record == nullptr) continue;
        for (const FileFacts& facts : record->files) {
          if (facts.revision) jobs_.try_emplace(facts.revision->identity, facts.revision->job);
          if (!facts.ledger) continue;
          for (const LedgerSeal& seal : facts.ledger->seals) jobs_.try_emplace(seal.identity, seal.job);
        }
      }
    }
    const auto found = jobs_.find(identity);
    return found == jobs_.end() ? std::nullopt : std::optional(found->second);
  }

  // Of the file that an earlier audit saw under this name.
  std::optional<std::uint64_t> size_of(const WantedFile& wanted) const {
    if (request_.earlier == nullptr) return std::nullopt;
    const FileFacts* const before = request_.earlier->find(wanted.path);
    if (before == nullptr || before->digest != wanted.digest) return std::nullopt;
    return before->size;
  }

  // Notes that grow: a copy that begins as they did, and lacks nothing that can be read of them now.
  const SurveyedFile* continued(const WantedFile& wanted) const {
    const SurveyedFile* const copy = request_.mirror->find(wanted.path);
    const FileFacts* const before =
        request_.earlier == nullptr ? nullptr : request_.earlier->find(wanted.path);
    const FileFacts* const now = request_.record->find(wanted.path);
    if (copy == nullptr || before == nullptr || copy->size() < before->size) return nullptr;
    const Result<Bytes> bytes = read_file(request_.mirror->place(*copy), kHealedFileLimit);
    if (!bytes || bytes->size() < before->size ||
        compute_sha256(ByteView(*bytes).first(static_cast<std::size_t>(before->size))) != before->digest)
      return nullptr;
    if (now == nullptr || copy->size() >= now->size) return copy;
    const SurveyedFile* const here = request_.archive->find(wanted.path);
    const Result<Bytes> left = here == nullptr ? Result<Bytes>(Bytes())
                                               : read_file(request_.archive->place(*here), kHealedFileLimit);
    return left && text_of(*bytes).starts_with(readable_lines(text_of(*left))) ? copy : nullptr;
  }

  // --- a ledger

  static bool is_of_ledger(const Finding& finding) {
    return is_ledger_part(finding.wanted->kind) || (finding.code >= FindingCode::kLedgerUnreadable &&
                                                    finding.code <= FindingCode::kLedgerErasureUnknown);
  }

  // Entries that a ledger must at least hold: by the tip, the heads and the earlier audit.
  std::uint64_t least_entries(const std::string& folder, const Sha256& id) const {
    std::uint64_t least = 0;
    for (const AuditRecord* record : {request_.record, request_.earlier}) {
      if (record == nullptr) continue;
      for (const FileFacts& facts : record->files) {
        if (facts.kind == FileKind::kLedgerHead && !facts.fault && facts.statement &&
            facts.statement->names == std::vector{id})
          least = std::max(least, facts.statement->number);
        if (facts.ledger && facts.ledger->id == id && folder_of(facts.path) == folder)
          least = std::max(least, facts.ledger->head.size);
      }
    }
    return least;
  }

  // The copy has the very entries that a head contradicts: putting them back would mend nothing.
  bool is_about_a_head(const Finding& finding, const FileFacts& copy) const {
    if (finding.code != FindingCode::kLedgerHeadRewritten && finding.code != FindingCode::kLedgerHeadAhead)
      return false;
    const FileFacts* const here = request_.record->find(finding.path);
    return here != nullptr && here->digest == copy.digest;
  }

  void look_for_ledger(Finding& finding) {
    // What a writer left who was cut off, the next one takes out; a copy knows less than the ledger.
    if (finding.severity() != Severity::kError) return;
    const std::string folder(folder_of(finding.wanted->path.empty() ? finding.path : finding.wanted->path));
    const SurveyedFile* const copy = request_.mirror->find(join_path(folder, kEntriesFile));
    if (copy == nullptr || copy->kind != FileKind::kLedgerEntries) return;
    const FileFacts& facts = mirror_.facts_of(*copy);
    if (facts.fault || !facts.ledger) return;
    // Heads that lie elsewhere were found wanting by themselves; the ledger's own must hold.
    if (std::ranges::any_of(facts.ledger->findings,
                            [](const LedgerFinding& found) { return !is_ledger_caution(found.fault); }))
      return;
    if (const std::optional<Sha256> id = id_here(folder); id && *id != facts.ledger->id) return;
    if (facts.ledger->head.size < least_entries(folder, facts.ledger->id)) return;
    if (is_about_a_head(finding, facts)) return;
    finding.copy = request_.mirror->place(*copy);
    ++healed_.found;
    if (!request_.heal) return;
    const auto [done, is_new] = ledgers_.try_emplace(folder, false);
    if (is_new) done->second = put_back_ledger(folder);
    finding.healed = done->second;
  }

  std::optional<Sha256> id_here(const std::string& folder) const {
    for (const AuditRecord* record : {request_.record, request_.earlier}) {
      if (record == nullptr) continue;
      const FileFacts* const entries = record->find(join_path(folder, kEntriesFile));
      if (entries != nullptr && entries->ledger) return entries->ledger->id;
    }
    return std::nullopt;
  }

  // The tip last: until it stands there, a reader sees that something is amiss. No writer may come between,
  // nor have come since the ledger was looked at.
  bool put_back_ledger(const std::string& folder) {
    const std::optional<Target> target = target_of(join_path(folder, kTipFile));
    if (!target) return false;
    if (Status made = make_folders(target->root, target->within); !made)
      return failed(std::move(made).error());
    const Result<FolderLock> lock = lock_ledger(std::string(folder_of(target->place())));
    if (!lock) return failed(lock.error());
    for (const std::string_view name : {kDetailsFile, kEntriesFile, kTipFile}) {
      if (Status same = is_as_it_was(join_path(folder, name)); !same) return failed(std::move(same).error());
    }
    bool all = true;
    for (const std::string_view name : {kDetailsFile, kEntriesFile, kTipFile}) {
      const std::string path = join_path(folder, name);
      const SurveyedFile* const copy = request_.mirror->find(path);
      if (copy != nullptr) all = put_back(path, *copy) && all;
    }
    return all;
  }

  // --- writing

  struct Target {
    std::string root, within;
    std::string place() const { return root + "/" + within; }
  };
  std::optional<Target> target_of(const std::string& path) const {
    const std::vector<std::string>& folders = request_.archive->folders;
    if (folders.size() == 1) return Target{folders.front(), path};
    for (const std::string& folder : folders) {
      if (path.starts_with(folder + "/")) return Target{folder, path.substr(folder.size() + 1)};
    }
    return std::nullopt;
  }

  bool put_back(const std::string& path, const SurveyedFile& copy) {
    if (done_.contains(path)) return true;
    const std::optional<Target> target = target_of(path);
    if (!target) return false;
    Status status = replace(*target, path, copy);
    if (!status) return failed(std::move(status).error());
    done_.insert(path);
    ++healed_.healed;
    return true;
  }

  bool failed(Error error) {
    healed_.failed.push_back(std::move(error));
    return false;
  }

  // Whether nobody has written to a place since the audit looked at it.
  Status is_as_it_was(const std::string& path) const {
    const std::string place = target_of(path)->place();
    const SurveyedFile* const before = request_.archive->find(path);
    const std::optional<FileStatus> now = look_at_file(place);
    if (!now || (before != nullptr && before->status.size == now->size &&
                 before->status.modified == now->modified && before->status.inode == now->inode))
      return {};
    return fail({Reason::kFileUnreadable, printable(place), "", "changed since the audit looked at it",
                 "what it was then", "nothing was put there; run the command again"});
  }

  // Through no link, so that nothing is written outside of the archive.
  static Status make_folders(const std::string& root, const std::string& within) {
    for (std::size_t slash = within.find('/'); slash != std::string::npos;
         slash = within.find('/', slash + 1)) {
      const std::string folder = root + "/" + within.substr(0, slash);
      struct stat status {};
      if (::mkdir(folder.c_str(), 0777) == 0) continue;
      const int error = errno;
      if (error == EEXIST && ::lstat(folder.c_str(), &status) == 0 && S_ISDIR(status.st_mode)) continue;
      return fail({Reason::kWriteFailed, printable(folder), "make folder", std::strerror(error), "a folder",
                   "choose a place that you may write to"});
    }
    return {};
  }

  Status replace(const Target& target, const std::string& path, const SurveyedFile& copy) {
    const std::string place = target.place();
    const std::string copied_from = request_.mirror->place(copy);
    CALSEAL_ASSIGN(const Bytes good, [&]() -> Result<Bytes> {
      if (copy.status.size == 0) return Bytes();
      return read_file(copied_from, kHealedFileLimit);
    }());
    if (!mirror_.is_still(copy, good)) {
      return fail({Reason::kFileUnreadable, printable(copied_from), "", "other bytes than a moment ago",
                   "the copy that was found good",
                   "let nobody write to the mirror, and run the command again"});
    }
    CALSEAL_CHECK(make_folders(target.root, target.within));
    struct stat status {};
    if (::lstat(place.c_str(), &status) == 0) {
      const Result<Bytes> there =
          status.st_size == 0 ? Result<Bytes>(Bytes()) : read_file(place, kHealedFileLimit);
      if (there && *there == good) return {};  // put back by another run
      CALSEAL_CHECK(is_as_it_was(path));
      CALSEAL_CHECK(put_aside(target, place, there));
    }
    return write_file(place, good,
                      may_be_read_by_others(copied_from) ? FileMode::kPublic : FileMode::kPrivate);
  }

  // A second name for the damaged file, so that its bytes stay when the first name is given away.
  static Status put_aside(const Target& target, const std::string& place, const Result<Bytes>& damaged) {
    const std::string mark = damaged ? digest_text(compute_sha256(*damaged)).substr(0, 8) : "unreadable";
    const std::string within = std::string(kAsideFolder) + "/" + target.within + "." + mark;
    CALSEAL_CHECK(make_folders(target.root, within));
    const std::string aside = target.root + "/" + within;
    const NoInterruption linking;
    if (::link(place.c_str(), aside.c_str()) == 0) {
      note_written(aside);
      return {};
    }
    if (errno == EEXIST) return {};
    if (!damaged) return {};  // nothing can be kept of it
    return write_file(aside, *damaged, FileMode::kPrivate);
  }

  const MirrorRequest& request_;
  Judgement& judgement_;
  Mirror mirror_;
  Healed healed_;
  std::map<Sha256, std::string> jobs_;
  std::map<std::string, bool> ledgers_;
  std::set<std::string> done_;
};

}  // namespace

Healed heal_archive(const MirrorRequest& request, Judgement& judgement) {
  return Healing(request, judgement).run();
}

}  // namespace calseal
