// What the parts of a judgement share: the record, ways to find things in it, and the findings so far. Within
// this layer only.
#pragma once

#include <map>
#include <optional>
#include <set>
#include <span>
#include <string>
#include <string_view>
#include <tuple>
#include <unordered_map>
#include <vector>

#include "calseal/archive/finding.h"
#include "calseal/archive/judge.h"
#include "calseal/archive/record.h"

namespace calseal {

// Job, controller, sequence: what one revision alone has.
using SequenceKey = std::tuple<std::string_view, std::string_view, std::uint64_t>;

class Judging {
 public:
  Judging(const AuditRecord& record, const AuditRecord* earlier);

  const AuditRecord& record() const { return record_; }
  const AuditRecord* earlier() const { return earlier_; }

  // Bundles whose manifest is known, by what they are; ascending by path.
  using Files = std::span<const FileFacts* const>;
  Files with_identity(const Sha256& identity) const;
  Files with_sequence(const SequenceKey& key) const;
  // Bundles of which nothing is believed, but whose beginning still says this.
  bool hinted(const std::string& job, std::uint64_t base, std::uint64_t revision,
              std::uint64_t sequence) const;
  bool any_hinted(const std::string& job) const;

  // Whether any file of the archive is these bytes.
  bool holds_digest(const Sha256& digest) const;

  // What was sealed, by any ledger of the archive.
  const std::vector<const LedgerSeal*>& seals() const { return seals_; }
  bool has_ledger() const { return has_ledger_; }
  const LedgerSeal* seal_of(const Sha256& identity) const;
  // The seal that fits the words of a damaged bundle, when there is one alone.
  const LedgerSeal* seal_for(const BundleHint& hint) const;

  // Ledgers that signed heads tell of and that are not here, with these heads; none while a ledger is here
  // that cannot be read, since nobody knows which one that is.
  const std::map<Sha256, std::vector<const FileFacts*>>& gone_ledgers() const { return gone_ledgers_; }
  bool is_gone(const Sha256& ledger) const { return gone_ledgers_.contains(ledger); }

  // Folders of jobs: where job.json stands, or below which base-<k> holds bundles.
  const std::set<std::string>& job_folders() const { return job_folders_; }
  // The file of a job folder in which a revision belongs; empty when no folder of this job is known.
  std::string place_of(const std::string& job, const std::string& controller, std::uint64_t base,
                       std::uint64_t revision, std::uint64_t sequence) const;
  // Where an earlier audit saw it first; empty when it did not.
  std::string earlier_place_of(const Sha256& identity) const;

  Finding& find(FindingCode code, std::string path, std::string subject, std::string text);
  bool any_at(const std::string& path) const;  // notes apart
  // Any finding at this path that lacks one is given what should stand there.
  void want_at(const std::string& path, const WantedFile& wanted);
  std::vector<Finding> take_findings();

 private:
  void order_seals();
  void gather_gone_ledgers();

  const AuditRecord& record_;
  const AuditRecord* earlier_;
  // Lists of pointers in order, which cost an archive of any size little.
  std::vector<const FileFacts*> by_identity_, by_sequence_;
  std::map<std::string, std::vector<const FileFacts*>> hinted_;  // by job
  std::vector<const FileFacts*> by_digest_;                      // of files large enough to be shared
  std::vector<const LedgerSeal*> seals_, seals_by_identity_;
  std::vector<const LedgerSeal*> seals_by_words_;  // job, base, revision and sequence
  bool has_ledger_ = false;
  std::map<Sha256, std::vector<const FileFacts*>> gone_ledgers_;
  std::set<std::string> job_folders_;
  std::map<Sha256, std::string_view> earlier_places_;
  std::map<std::pair<std::string, std::string>, std::string> folder_of_job_;  // by job and controller
  std::vector<Finding> findings_;
  std::unordered_map<std::string, std::vector<std::size_t>> by_path_;
};

// "job oak-17, engine, base 1, revision 2"
std::string revision_subject(const std::string& job, const std::string& controller, std::uint64_t base,
                             std::uint64_t revision);
std::string revision_subject(const RevisionClaim& claim);

// Whether there is an archive at all, and as much of it as there should be.
void judge_extent(Judging& judging, std::optional<std::uint64_t> expected);
void judge_files(Judging& judging);
void judge_chains(Judging& judging);
void judge_ledgers(Judging& judging);
// One of them by itself.
void judge_ledger(Judging& judging, const FileFacts& facts);
// Whether entries are missing from it, or nobody can say what they are about.
bool hides_entries(const LedgerClaim& ledger);
void judge_job_folders(Judging& judging);
void judge_vehicle_jobs(Judging& judging);
void judge_parcels(Judging& judging);
void judge_places(Judging& judging);
void judge_against_earlier(Judging& judging);

}  // namespace calseal
