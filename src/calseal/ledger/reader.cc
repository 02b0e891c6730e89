#include "calseal/ledger/reader.h"

#include <filesystem>

#include "calseal/base/text.h"
#include "calseal/ledger/layout.h"
#include "calseal/ledger/line_reader.h"
#include "calseal/ledger/lock.h"
#include "calseal/trust/inclusion.h"

namespace calseal {

namespace {

bool path_leads_to_file(const std::string& path) {
  std::error_code error;
  return std::filesystem::is_regular_file(path, error);
}

}  // namespace

struct LedgerReader::State {
  // A line of details that was read ahead.
  struct Ahead {
    std::optional<LedgerDetail> detail;  // nothing: unreadable
  };

  Result<LedgerTip> tip = LedgerTip{};
  std::optional<LineReader> entries;
  std::optional<LineReader> details;  // nothing: no such file
  Sha256 id;
  std::uint64_t index = 0;
  std::optional<Ahead> ahead;
  bool details_ended = false;
  std::uint64_t stray = 0;
  std::uint64_t unentered = 0;
  std::uint64_t torn_details = 0;  // bytes

  // Fills `ahead`, unless the details have ended.
  void look_ahead() {
    if (ahead || details_ended || !details) return;
    const auto line = details->next();
    if (!line || !*line) {
      details_ended = true;
      if (!line) {
        ++stray;
      } else {
        torn_details = details->left();
      }
      return;
    }
    Result<LedgerDetail> detail = parse_ledger_detail(view_of(**line), details->shown());
    ahead = Ahead{detail ? std::optional(*std::move(detail)) : std::nullopt};
  }

  void find_detail(LedgerRecord& record) {
    for (look_ahead(); ahead; look_ahead()) {
      if (!ahead->detail) {
        // Its own index cannot be read; it stands where this entry's line should stand.
        record.detail_state = DetailState::kDamaged;
        ahead.reset();
        return;
      }
      if (ahead->detail->index > record.index) return;
      LedgerDetail detail = *std::move(ahead->detail);
      ahead.reset();
      if (detail.index < record.index) {
        ++stray;
        continue;
      }
      record.detail = std::move(detail);
      if (record.detail.erased_by) {
        record.detail_state = DetailState::kErased;
      } else {
        const bool bound =
            record.entry && entry_of(record.detail.nonce, record.detail.facts) == *record.entry;
        record.detail_state = bound ? DetailState::kPresent : DetailState::kDiffers;
      }
      return;
    }
  }
};

LedgerReader::LedgerReader(std::unique_ptr<State> state) : state_(std::move(state)) {}
LedgerReader::LedgerReader(LedgerReader&&) noexcept = default;
LedgerReader& LedgerReader::operator=(LedgerReader&&) noexcept = default;
LedgerReader::~LedgerReader() = default;

Result<LedgerReader> LedgerReader::open(const std::string& path, WhileLocked locked) {
  const std::string folder = ledger_folder(path);
  auto state = std::make_unique<State>();
  {
    // So that no append lies half inside of what is seen. A place that gives no lock has no writers to fear.
    std::optional<FolderLock> held;
    if (locked == WhileLocked::kByReader) {
      auto lock = FolderLock::take(folder, kLedgerFolder, kLedgerWaitSeconds);
      if (!lock && lock.error().reason == Reason::kLedgerBusy) return fail(lock.error());
      if (lock) held.emplace(*std::move(lock));
    }
    state->tip = read_ledger_tip(folder);
    // A copy of the entries may have another name.
    const std::string file = folder + "/" + std::string(kEntriesFile);
    CALSEAL_ASSIGN(LineReader entries, LineReader::open(path_leads_to_file(path) ? path : file,
                                                        kLedgerFileLimit, kLedgerLineLimit));
    state->entries.emplace(std::move(entries));
    auto details =
        LineReader::open(folder + "/" + std::string(kDetailsFile), kLedgerFileLimit, kDetailLineLimit);
    if (!details && details.error().reason != Reason::kFileMissing) return fail(details.error());
    if (details) state->details.emplace(*std::move(details));
  }
  CALSEAL_ASSIGN(const std::optional<std::string_view> first, state->entries->next());
  if (!first) {
    return fail({Reason::kLedgerDamaged, state->entries->shown(), "line 1", "no whole line",
                 std::string(kLedgerLiteral), "put the file back from a copy"});
  }
  CALSEAL_ASSIGN(state->id, parse_ledger_line(view_of(*first), state->entries->shown()));
  return LedgerReader(std::move(state));
}

const Sha256& LedgerReader::id() const { return state_->id; }
const std::string& LedgerReader::name() const { return state_->entries->shown(); }
const Result<LedgerTip>& LedgerReader::tip() const { return state_->tip; }
std::uint64_t LedgerReader::torn_bytes() const { return state_->entries->left(); }
std::uint64_t LedgerReader::torn_detail_bytes() const { return state_->torn_details; }
std::uint64_t LedgerReader::whole_bytes() const { return state_->entries->consumed(); }
std::uint64_t LedgerReader::stray_details() const { return state_->stray; }
std::uint64_t LedgerReader::unentered_details() const { return state_->unentered; }

Result<std::optional<LedgerRecord>> LedgerReader::next() {
  CALSEAL_ASSIGN(const std::optional<std::string_view> line, state_->entries->next());
  if (!line) {
    for (state_->look_ahead(); state_->ahead; state_->look_ahead()) {
      const std::optional<LedgerDetail>& detail = state_->ahead->detail;
      ++(detail && detail->index >= state_->index ? state_->unentered : state_->stray);
      state_->ahead.reset();
    }
    return std::optional<LedgerRecord>();
  }
  if (state_->index == kLedgerEntryLimit) {
    return fail({Reason::kLedgerDamaged, name(), "entry " + grouped(state_->index), "one more entry",
                 "at most " + grouped(kLedgerEntryLimit), "begin another ledger"});
  }
  LedgerRecord record;
  record.index = state_->index++;
  record.leaf_hash = merkle_leaf_hash(view_of(*line));
  record.line = *line;
  record.entry = parse_ledger_entry(view_of(*line), Reason::kLedgerDamaged, name());
  state_->find_detail(record);
  return std::optional(std::move(record));
}

}  // namespace calseal
