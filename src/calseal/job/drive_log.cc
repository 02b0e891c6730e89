#include "calseal/job/drive_log.h"

#include <algorithm>
#include <array>

#include "calseal/base/plain_words.h"
#include "calseal/base/text.h"
#include "calseal/job/csv.h"
#include "calseal/job/log_lines.h"
#include "calseal/job/log_time.h"

namespace calseal {
namespace {

constexpr std::size_t kShortestMark = 4;           // characters
constexpr std::size_t kConstantLimit = 1024;       // texts in which a mark is looked for
constexpr std::int64_t kDay = 86'400'000'000'000;  // ns
constexpr std::array kSeparators{'\t', ';', ','};

// The usual names of a column of time, in the order of preference (common practice, no source).
constexpr std::array<std::string_view, 18> kTimeNames{
    "time",     "timestamp",   "time stamp", "elapsed time", "time since start",
    "log time", "record time", "datetime",   "date time",    "date/time",
    "zeit",     "zeitstempel", "uhrzeit",    "temps",        "tiempo",
    "tempo",    "czas",        "t"};

std::string comparable(std::string_view text) {
  std::string out = lower_case(trimmed(text));
  return out.starts_with("0x") ? out.substr(2) : out;
}

// "Time (ms)", "time[ms]", "time_ms" and "Time ms" are the column time in milliseconds.
std::pair<std::string, std::string> split_unit(const std::string& header) {
  const std::string text = lower_case(trimmed(header));
  if (text.ends_with(')') || text.ends_with(']')) {
    const std::size_t open = text.find_last_of("([");
    if (open != std::string::npos)
      return {lower_case(trimmed(text.substr(0, open))),
              lower_case(trimmed(text.substr(open + 1, text.size() - open - 2)))};
  }
  const std::size_t cut = text.find_last_of("_ ");
  if (cut != std::string::npos && find_time_unit(text.substr(cut + 1)))
    return {lower_case(trimmed(text.substr(0, cut))), text.substr(cut + 1)};
  return {text, ""};
}

// Nanoseconds as seconds with three digits.
std::string seconds_text(std::int64_t ns) {
  const std::int64_t milliseconds = ns / 1'000'000;
  const std::string rest = std::to_string(milliseconds % 1000);
  return std::to_string(milliseconds / 1000) + "." + std::string(3 - rest.size(), '0') + rest;
}

class Measuring {
 public:
  Measuring(const Pieces& pieces, const LogReading& reading, const std::string& name)
      : lines_(pieces, name), reading_(reading), name_(name) {}

  // The steps of docs/job.md: lines, header, units row, rows, gaps.
  Result<MeasuredLog> run() {
    CALSEAL_CHECK(find_header());
    CsvReader csv(lines_, separator_, name_);
    csv_ = &csv;
    std::vector<std::string> row;
    for (;;) {
      CALSEAL_ASSIGN(const bool more, csv.next(row));
      if (!more) break;
      if (row.size() == 1 && row[0].empty()) continue;
      CALSEAL_ASSIGN(const bool whole, fit(row));
      if (!whole) break;
      if (facts().rows == 0 && !any_row_ && is_units_row(row)) continue;
      any_row_ = true;
      CALSEAL_CHECK(take(row));
    }
    if (facts().rows == 0)
      return malformed("line " + std::to_string(lines_.number()), "no row", "rows of values",
                       "export the log again");
    find_gaps();
    facts().encoding = lines_.encoding();
    for (std::size_t i = 0; i < values_.size(); ++i) {
      if (!varies_[i]) keep(values_[i]);
    }
    return std::move(log_);
  }

 private:
  LogFacts& facts() { return log_.facts; }

  tl::unexpected<Error> malformed(std::string place, std::string found, std::string expected,
                                  std::string next) const {
    return fail({Reason::kLogMalformed, name_, std::move(place), std::move(found), std::move(expected),
                 std::move(next)});
  }
  std::string row_place() const { return "line " + std::to_string(csv_->line()); }

  void keep(std::string_view text) {
    if (!text.empty() && log_.constants.size() < kConstantLimit) log_.constants.emplace_back(text);
  }

  // A line before the header: whole, and the parts of "# software: X".
  void keep_parts(const std::string& line) {
    keep(trimmed(line));
    for (std::size_t at = 0; at < line.size();) {
      const std::size_t end = std::min(line.find_first_of("#;,:=|\"\t", at), line.size());
      if (end - at < line.size()) keep(trimmed(std::string_view(line).substr(at, end - at)));
      at = end + 1;
    }
  }

  // The first line that has a column of time under one of the separators.
  Status find_header() {
    std::string line;
    while (lines_.number() < kLogHeaderLimit) {
      CALSEAL_ASSIGN(const bool more, lines_.next(line));
      if (!more) break;
      for (const char separator : kSeparators) {
        if (reading_.separator != 0 && reading_.separator != separator) continue;
        const std::vector<std::string> fields = CsvReader::split(line, separator);
        if (fields.size() < 2) continue;
        CALSEAL_ASSIGN(const bool found, find_time(fields));
        if (found) return begin(fields, separator);
      }
      keep_parts(line);
    }
    return malformed("line " + std::to_string(lines_.number()), "no header with a column of time so far",
                     "one of two columns or more, one of them called time or timestamp",
                     "name it: --time-column HEADER, and --separator");
  }

  // Whether one of the fields is the column of time.
  Result<bool> find_time(const std::vector<std::string>& header) {
    const auto among = [&](const auto& is_meant) -> Result<bool> {
      const auto found = std::find_if(header.begin(), header.end(), is_meant);
      if (found == header.end()) return false;
      if (std::find_if(found + 1, header.end(), is_meant) != header.end())
        return malformed("line " + std::to_string(lines_.number()), "several columns of time",
                         "one that is called time or timestamp", "name it: --time-column HEADER");
      time_ = static_cast<std::size_t>(found - header.begin());
      return true;
    };
    if (!reading_.time_column.empty())
      return among([&](const std::string& text) { return trimmed(text) == trimmed(reading_.time_column); });
    for (const std::string_view name : kTimeNames) {
      CALSEAL_ASSIGN(const bool found,
                     among([&](const std::string& text) { return split_unit(text).first == name; }));
      if (found) return true;
    }
    return false;
  }

  Status begin(const std::vector<std::string>& header, char separator) {
    separator_ = separator;
    facts().separator = separator == '\t' ? "tab" : separator == ';' ? "semicolon" : "comma";
    facts().columns = header.size();
    facts().time_column = printable(trimmed(header[time_]));
    header_line_ = lines_.number();
    unit_ = reading_.unit.empty() ? split_unit(header[time_]).second : reading_.unit;
    values_.resize(header.size());
    varies_.assign(header.size(), false);
    for (const std::string& text : header) keep(text);
    return {};
  }

  // Whether the row is whole; the last one may be cut off. Empty fields behind the last column are none.
  Result<bool> fit(std::vector<std::string>& row) const {
    while (row.size() > values_.size() && row.back().empty()) row.pop_back();
    if (row.size() == values_.size()) return true;
    if (row.size() < values_.size() && !lines_.ended()) return false;
    return malformed(row_place(), grouped(row.size()) + " fields",
                     grouped(values_.size()) + " fields, as in the header", "export the log again");
  }

  // A row behind the header that has units where values should be.
  bool is_units_row(const std::vector<std::string>& row) {
    if (unit_row_seen_ || parse_log_time(row[time_])) return false;
    std::string text(trimmed(row[time_]));
    if (text.size() > 2 && (text[0] == '(' || text[0] == '[')) text = text.substr(1, text.size() - 2);
    if (!text.empty() && !find_time_unit(text)) return false;
    unit_row_seen_ = true;
    if (reading_.unit.empty() && !text.empty()) unit_ = text;
    return true;
  }

  // The first row decides how times are written.
  Status begin_times(const LogTime& time) {
    kind_ = time.kind;
    day_ = time.day;
    facts().unit = kind_ == TimeKind::kClock  ? "clock"
                   : kind_ == TimeKind::kDate ? "date"
                                              : find_time_unit(unit_).value_or("");
    if (!facts().unit.empty()) return {};
    return malformed("line " + std::to_string(header_line_) + ", " + facts().time_column,
                     unit_.empty() ? "no unit" : "unit " + printable(unit_, 20),
                     "us, ms, s or min, as in \"Time (s)\"", "state it: --time-unit s, or another of these");
  }

  Result<std::int64_t> time_of(const std::string& field) {
    const auto time = parse_log_time(field);
    const auto wrong = [&](const std::string& expected) {
      return malformed(row_place(), "time \"" + printable(field, 40) + "\"", expected,
                       "choose the right column: --time-column");
    };
    if (!time) return wrong("a number, a time of day or a date with one");
    if (facts().rows == 0) CALSEAL_CHECK(begin_times(*time));
    if (time->kind != kind_ || (time->mark != 0 && mark_ != 0 && time->mark != mark_))
      return wrong("a time written like " + facts().first);
    if (time->mark != 0) mark_ = time->mark;
    if (kind_ == TimeKind::kNumber) {
      const auto ns = nanoseconds(*time, facts().unit);
      return ns ? Result<std::int64_t>(*ns) : wrong("less than 290 years");
    }
    // A clock that falls by more than half a day has passed midnight.
    const bool dated = kind_ == TimeKind::kDate && time->day.empty();
    const bool midnight = !dated && facts().rows > 0 && last_ - (time->ns + midnights_) > kDay / 2;
    if (midnight) midnights_ += kDay;
    if (!midnight && time->day != day_)
      return wrong("the same date: which number is the month cannot be told");
    day_ = time->day;
    return time->ns + midnights_;
  }

  Status take(const std::vector<std::string>& row) {
    CALSEAL_ASSIGN(const std::int64_t time, time_of(row[time_]));
    const std::string shown = printable(trimmed(row[time_]), 40);
    if (facts().rows == 0) facts().first = shown;
    if (facts().rows > 0) {
      if (time < last_)
        return malformed(row_place(), "time " + shown + " after " + facts().last,
                         "time that never runs backwards",
                         "cut the file where a new recording begins, and attach each part");
      steps_.push_back(time - last_);
    }
    last_ = time;
    facts().last = shown;
    if (++facts().rows > kLogRowLimit)
      return malformed(row_place(), "more than " + grouped(kLogRowLimit) + " rows", "fewer rows",
                       "cut the file");
    for (std::size_t i = 0; i < row.size(); ++i) {
      if (varies_[i] || i == time_ || row[i].empty()) continue;
      if (values_[i].empty()) {
        values_[i] = row[i];
      } else {
        varies_[i] = values_[i] != row[i];
      }
    }
    return {};
  }

  void find_gaps() {
    if (steps_.empty()) return;
    const std::int64_t longest = *std::max_element(steps_.begin(), steps_.end());
    const auto middle = steps_.begin() + static_cast<std::ptrdiff_t>(steps_.size() / 2);
    std::nth_element(steps_.begin(), middle, steps_.end());
    const std::int64_t usual = *middle;
    // All in one instant, or nearly: no step is usual, so none can be a gap.
    if (usual == 0) return;
    facts().gaps =
        static_cast<std::uint64_t>(std::count_if(steps_.begin(), steps_.end(), [&](std::int64_t step) {
          return step / static_cast<std::int64_t>(kGapFactor) >= usual &&
                 step > usual * static_cast<std::int64_t>(kGapFactor);
        }));
    if (facts().gaps > 0) facts().longest_gap = seconds_text(longest);
  }

  LogLines lines_;
  const LogReading& reading_;
  std::string name_;
  MeasuredLog log_;
  const CsvReader* csv_ = nullptr;
  char separator_ = ',';
  std::uint64_t header_line_ = 0;
  std::size_t time_ = 0;
  std::string unit_;
  bool any_row_ = false, unit_row_seen_ = false;
  TimeKind kind_ = TimeKind::kNumber;
  char mark_ = 0;
  std::string day_;
  std::int64_t last_ = 0, midnights_ = 0;
  std::vector<std::int64_t> steps_;
  std::vector<std::string> values_;
  std::vector<bool> varies_;
};

// The text of an identity field of one kind after the revision; empty when there is none worth the name.
std::string mark_of(const JobRevision& revision, std::string_view kind) {
  const std::vector<ManifestIdentity>& identity = revision.manifest.controller().identity;
  for (std::size_t i = 0; i < identity.size(); ++i) {
    const std::string text = comparable(identity[i].text);
    if (revision.identity_kinds[i] == kind && text.size() >= kShortestMark) return text;
  }
  return "";
}

// Whether it is the revision's own: no other content of the job has it too. A reissue is the same content.
bool tells_apart(const Job& job, const JobRevision& revision, std::string_view kind,
                 const std::string& mark) {
  for (const JobBase& base : job.bases) {
    for (const JobRevision& other : base.revisions) {
      const bool same = other.number() == revision.number() && base.number == revision.manifest.base_number;
      if (!same && mark_of(other, kind) == mark) return false;
    }
  }
  return true;
}

}  // namespace

Result<MeasuredLog> measure_log(const Pieces& pieces, const LogReading& reading, const std::string& name) {
  return Measuring(pieces, reading, name).run();
}

std::vector<NamedRevision> revisions_named_in(const Job& job, const std::vector<std::string>& constants) {
  std::vector<std::string> texts;
  for (const std::string& text : constants) texts.push_back(comparable(text));
  for (const std::string_view kind : {"revision-mark", "verification-number"}) {
    std::vector<NamedRevision> named;
    for (const JobBase& base : job.bases) {
      for (const JobRevision& revision : base.revisions) {
        const std::string mark = mark_of(revision, kind);
        if (mark.empty() || base.find(revision.number()) != &revision) continue;
        if (std::ranges::find(texts, mark) == texts.end() || !tells_apart(job, revision, kind, mark))
          continue;
        named.push_back({&revision, std::string(kind)});
      }
    }
    if (!named.empty()) return named;
  }
  return {};
}

}  // namespace calseal
