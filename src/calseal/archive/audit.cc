#include "calseal/archive/audit.h"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <condition_variable>
#include <iterator>
#include <memory>
#include <mutex>
#include <new>
#include <span>
#include <system_error>
#include <thread>
#include <unordered_map>

#include "calseal/archive/examine.h"
#include "calseal/archive/journal.h"
#include "calseal/base/interrupt.h"

namespace calseal {
namespace {

constexpr auto kTick = std::chrono::milliseconds(200);
constexpr std::uint64_t kWorthReadingAhead = std::uint64_t{1} << 20;  // bytes

// Files that are looked at by one thread, and noted together.
using Unit = std::vector<const SurveyedFile*>;

// Neighbours that one thread takes at once.
using Batch = std::span<const Unit>;
constexpr std::uint64_t kBatchSize = std::uint64_t{32} << 20;  // bytes
constexpr std::size_t kBatchUnits = 64;

std::uint64_t size_of(const Unit& unit) {
  std::uint64_t bytes = 0;
  for (const SurveyedFile* file : unit) bytes += file->size();
  return bytes;
}

std::vector<Unit> units_of(const Survey& survey, const Part& part) {
  std::vector<Unit> units;
  std::unordered_map<std::string, std::size_t> by_name;
  for (const SurveyedFile& file : survey.files) {
    const std::string name = file.share_name();
    if (part.of > 1 && part_of_name(name, part.of) != part.number) continue;
    const auto [at, is_new] = by_name.try_emplace(name, units.size());
    if (is_new) units.emplace_back();
    units[at->second].push_back(&file);
  }
  // A revision 0 first: the others of its base are proved on it.
  for (Unit& unit : units) {
    std::ranges::stable_sort(
        unit, {}, [](const SurveyedFile* file) { return file->hint && file->hint->revision != 0; });
  }
  return units;
}

// What threads have found and nobody has taken yet.
class Results {
 public:
  void put(const Unit* unit, std::vector<FileFacts> facts) {
    const std::lock_guard lock(mutex_);
    waiting_.emplace_back(unit, std::move(facts));
  }
  void worker_ends() {
    const std::lock_guard lock(mutex_);
    --workers_;
    changed_.notify_one();
  }
  void expect(unsigned workers) { workers_ = workers; }

  using Found = std::vector<std::pair<const Unit*, std::vector<FileFacts>>>;
  // All that came within a tick; `over`: no worker is left.
  Found take(bool& over) {
    std::unique_lock lock(mutex_);
    changed_.wait_for(lock, kTick, [&] { return workers_ == 0; });
    over = workers_ == 0;
    return std::move(waiting_);
  }

 private:
  std::mutex mutex_;
  std::condition_variable changed_;
  Found waiting_;
  unsigned workers_ = 0;
};

class Run {
 public:
  explicit Run(const AuditRequest& request)
      : request_(request), context_(make_examine_context(*request.survey, request.depth, request.trust)) {
    if (request.earlier == nullptr) return;
    for (const FileFacts& facts : request.earlier->files) {
      if (facts.digest) context_.earlier.insert_or_assign(facts.path, EarlierFile{facts.size, *facts.digest});
    }
  }

  Result<AuditRecord> run() {
    record_.scope = scope_of(*request_.survey);
    record_.scope.depth = request_.depth;
    record_.scope.trust = request_.trust_digest;
    for (const TrustFile* trust : request_.trust) record_.scope.roots.push_back(compute_key_id(trust->root));
    record_.scope.part = request_.part;
    units_ = units_of(*request_.survey, request_.part);
    for (const Unit& unit : units_) {
      progress_.files += unit.size();
      progress_.bytes += size_of(unit);
    }
    record_.files.reserve(progress_.files);
    if (!request_.journal.empty()) CALSEAL_CHECK(begin_journal());
    CALSEAL_CHECK(work());
    record_.whole = progress_.files_done == progress_.files;
    std::ranges::sort(record_.files, {}, &FileFacts::path);
    return std::move(record_);
  }

 private:
  Status begin_journal() {
    SeenFiles seen;
    if (request_.resume) {
      CALSEAL_ASSIGN(seen, read_journal(request_.journal, record_.scope));
    }
    std::vector<Unit> left;
    for (Unit& unit : units_) {
      std::vector<FileFacts> facts = seen.take(unit);
      if (facts.empty()) {
        left.push_back(std::move(unit));
      } else {
        keep(unit, std::move(facts));
      }
    }
    units_ = std::move(left);
    CALSEAL_ASSIGN(AuditJournal journal,
                   AuditJournal::begin(request_.journal, record_.scope, *request_.survey, record_.files));
    journal_ = std::make_unique<AuditJournal>(std::move(journal));
    return {};
  }

  void keep(const Unit& unit, std::vector<FileFacts> facts) {
    progress_.files_done += unit.size();
    progress_.bytes_done += size_of(unit);
    std::ranges::move(facts, std::back_inserter(record_.files));
  }

  void examine_units() {
    try {
      Examiner examiner(context_);
      while (!stop_) {
        const std::size_t i = next_++;
        if (i >= batches_.size()) break;
        if (i + threads_ < batches_.size()) read_batch_ahead(batches_[i + threads_]);
        examine_batch(examiner, batches_[i]);
      }
    } catch (const std::bad_alloc&) {
      // Too little memory to go on: the others may, and what nobody came to is not in the record.
    }
    results_.worker_ends();
  }

  void examine_batch(Examiner& examiner, Batch batch) {
    std::vector<const SurveyedFile*> files;
    for (const Unit& unit : batch) files.insert(files.end(), unit.begin(), unit.end());
    std::vector<FileFacts> facts = examiner.examine(files);
    auto at = std::make_move_iterator(facts.begin());
    for (const Unit& unit : batch) {
      const auto end = at + static_cast<std::ptrdiff_t>(unit.size());
      results_.put(&unit, std::vector<FileFacts>(at, end));
      at = end;
    }
  }

  void read_batch_ahead(Batch batch) const {
    for (const Unit& unit : batch) {
      if (size_of(unit) < kWorthReadingAhead) continue;
      for (const SurveyedFile* file : unit) read_ahead(request_.survey->place(*file));
    }
  }

  // As large as keeps files beside each other, as small as keeps every thread at work.
  void cut_batches() {
    std::uint64_t left = 0;
    for (const Unit& unit : units_) left += size_of(unit);
    const std::uint64_t bytes = std::min(kBatchSize, left / (4 * threads_));
    std::uint64_t in_batch = 0;
    std::size_t begin = 0;
    for (std::size_t i = 0; i < units_.size(); ++i) {
      in_batch += size_of(units_[i]);
      const std::size_t count = i + 1 - begin;
      if (in_batch < bytes && count < kBatchUnits && i + 1 < units_.size()) continue;
      batches_.push_back(Batch(units_).subspan(begin, count));
      begin = i + 1;
      in_batch = 0;
    }
  }

  Status work() {
    threads_ = request_.threads != 0 ? request_.threads : std::max(1U, std::thread::hardware_concurrency());
    threads_ =
        static_cast<unsigned>(std::min<std::size_t>(threads_, std::max<std::size_t>(1, units_.size())));
    cut_batches();
    std::vector<std::thread> workers;
    results_.expect(threads_);
    for (unsigned i = 0; i < threads_; ++i) {
      try {
        workers.push_back(start_thread([this] { examine_units(); }));
      } catch (const std::system_error&) {
        // No thread to be had: those that are there, or this one, do it all.
        i == 0 ? examine_units() : results_.worker_ends();
        if (i == 0) results_.expect(0);
        if (i == 0) break;
      }
    }
    Status status;
    for (bool over = false; !over;) {
      for (auto& [unit, facts] : results_.take(over)) {
        if (journal_ && status) status = journal_->note(*unit, facts);
        keep(*unit, std::move(facts));
      }
      if (journal_ && status) status = journal_->flush(over);
      if (request_.progress) request_.progress(progress_);
      if (!status || (request_.stop && request_.stop())) stop_ = true;
    }
    for (std::thread& worker : workers) worker.join();
    return status;
  }

  const AuditRequest& request_;
  ExamineContext context_;
  AuditRecord record_;
  AuditProgress progress_;
  std::vector<Unit> units_;
  std::vector<Batch> batches_;
  std::unique_ptr<AuditJournal> journal_;
  Results results_;
  std::atomic<std::size_t> next_{0};
  std::atomic<bool> stop_{false};
  unsigned threads_ = 1;
};

}  // namespace

Result<AuditRecord> run_audit(const AuditRequest& request) { return Run(request).run(); }

}  // namespace calseal
