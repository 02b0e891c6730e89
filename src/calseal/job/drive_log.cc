#include "calseal/job/drive_log.h"

#include <algorithm>
#include <filesystem>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/job/csv.h"
#include "calseal/job/layout.h"

namespace calseal {
namespace {

constexpr std::size_t kShortestMark = 4;      // characters
constexpr std::size_t kConstantLimit = 1024;  // texts in which a mark is looked for
constexpr int kFraction = 9;                  // digits behind the point

std::string lower(std::string_view text) {
  const std::size_t first = text.find_first_not_of(" \t");
  if (first == std::string_view::npos) return "";
  text = text.substr(first, text.find_last_not_of(" \t") - first + 1);
  std::string out;
  for (const char c : text) out += c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  return out;
}

std::string comparable(std::string_view text) {
  std::string out = lower(text);
  return out.starts_with("0x") ? out.substr(2) : out;
}

// A plain decimal number in 10^-9 of its unit; at most 9 digits before the point.
std::optional<std::int64_t> parse_decimal(std::string_view text) {
  const std::string plain = lower(text);
  std::int64_t value = 0;
  int fraction = -1;
  std::size_t digits = 0;
  for (const char c : plain) {
    if (c == '.' && fraction < 0 && digits > 0) {
      fraction = 0;
      continue;
    }
    if (c < '0' || c > '9') return std::nullopt;
    if (fraction >= kFraction) continue;  // beyond what is compared
    if (fraction < 0 && ++digits > 9) return std::nullopt;
    if (fraction >= 0) ++fraction;
    value = value * 10 + (c - '0');
  }
  if (digits == 0 || fraction == 0) return std::nullopt;
  for (int i = std::max(fraction, 0); i < kFraction; ++i) value *= 10;
  return value;
}

// 10^-9 of a unit as seconds with three digits.
std::string seconds_text(std::int64_t value, const std::string& unit) {
  const std::int64_t milliseconds = unit == "ms" ? value / 1'000'000'000 : value / 1'000'000;
  std::string rest = std::to_string(milliseconds % 1000);
  return std::to_string(milliseconds / 1000) + "." + std::string(3 - rest.size(), '0') + rest;
}

class Measuring {
 public:
  Measuring(std::string_view text, const LogReading& reading, const std::string& name)
      : csv_(text, reading.separator, name), reading_(reading), name_(name) {}

  Result<MeasuredLog> run() {
    std::vector<std::string> header;
    CALSEAL_ASSIGN(const bool any, csv_.next(header));
    if (!any || header.size() < 2)
      return malformed("line 1", "a single column", "a header line with two columns or more",
                       "choose the separator: --separator");
    CALSEAL_CHECK(find_time(header));
    values_.resize(header.size());
    varies_.assign(header.size(), false);
    std::vector<std::string> row;
    for (;;) {
      CALSEAL_ASSIGN(const bool more, csv_.next(row));
      if (!more) break;
      CALSEAL_CHECK(take(row));
    }
    if (log_.facts.rows == 0) return malformed("line 2", "no row", "rows of values", "export the log again");
    log_.facts.columns = header.size();
    find_gaps();
    for (const std::string& text : header) keep(text);
    for (std::size_t i = 0; i < values_.size(); ++i) {
      if (!varies_[i]) keep(values_[i]);
    }
    return std::move(log_);
  }

 private:
  tl::unexpected<Error> malformed(std::string place, std::string found, std::string expected,
                                  std::string next) const {
    return fail({Reason::kLogMalformed, name_, std::move(place), std::move(found), std::move(expected),
                 std::move(next)});
  }

  void keep(const std::string& text) {
    if (!text.empty() && log_.constants.size() < kConstantLimit) log_.constants.push_back(text);
  }

  // "Time (ms)" is the column time in milliseconds.
  static std::pair<std::string, std::string> split_unit(const std::string& header) {
    const std::string text = lower(header);
    const std::size_t open = text.find_last_of("([");
    if (open == std::string::npos || (text.back() != ')' && text.back() != ']')) return {text, ""};
    return {lower(text.substr(0, open)), lower(text.substr(open + 1, text.size() - open - 2))};
  }

  Status find_time(const std::vector<std::string>& header) {
    std::vector<std::size_t> found;
    for (std::size_t i = 0; i < header.size(); ++i) {
      const std::string name = split_unit(header[i]).first;
      const bool meant = reading_.time_column.empty() ? name == "time" || name == "timestamp"
                                                      : header[i] == reading_.time_column;
      if (meant) found.push_back(i);
    }
    if (found.size() != 1) {
      return malformed("line 1", found.empty() ? "no column of time" : "several columns of time",
                       "one column that is called time or timestamp", "name it: --time-column HEADER");
    }
    time_ = found.front();
    log_.facts.time_column = printable(header[time_]);
    log_.facts.unit = reading_.unit.empty() ? split_unit(header[time_]).second : reading_.unit;
    if (log_.facts.unit == "sec" || log_.facts.unit == "seconds") log_.facts.unit = "s";
    if (log_.facts.unit != "s" && log_.facts.unit != "ms") {
      return malformed("line 1, " + log_.facts.time_column,
                       log_.facts.unit.empty() ? "no unit" : "unit " + printable(log_.facts.unit, 20),
                       "s or ms, as in \"Time (s)\"", "state it: --time-unit s or --time-unit ms");
    }
    return {};
  }

  Status take(const std::vector<std::string>& row) {
    const std::string place = "line " + std::to_string(csv_.line());
    const auto time = parse_decimal(row[time_]);
    if (!time)
      return malformed(place, "time \"" + printable(row[time_], 40) + "\"", "a plain decimal number",
                       "choose the right column: --time-column");
    if (log_.facts.rows == 0) log_.facts.first = printable(row[time_], 40);
    if (log_.facts.rows > 0) {
      if (*time < last_) {
        return malformed(place, "time " + printable(row[time_], 40) + " behind " + log_.facts.last,
                         "time that never runs backwards",
                         "cut the file where a new recording begins, and attach each part");
      }
      steps_.push_back(*time - last_);
    }
    last_ = *time;
    log_.facts.last = printable(row[time_], 40);
    if (++log_.facts.rows > kLogRowLimit)
      return malformed(place, "more than " + grouped(kLogRowLimit) + " rows", "fewer rows", "cut the file");
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
    const std::int64_t longest = *std::ranges::max_element(steps_);
    const auto middle = steps_.begin() + static_cast<std::ptrdiff_t>(steps_.size() / 2);
    std::ranges::nth_element(steps_, middle);
    const std::int64_t usual = *middle;
    // All in one instant, or nearly: no step is usual, so none can be a gap.
    if (usual == 0) return;
    log_.facts.gaps = static_cast<std::uint64_t>(std::ranges::count_if(steps_, [&](std::int64_t step) {
      return step / static_cast<std::int64_t>(kGapFactor) >= usual &&
             step > usual * static_cast<std::int64_t>(kGapFactor);
    }));
    if (log_.facts.gaps > 0) log_.facts.longest_gap = seconds_text(longest, log_.facts.unit);
  }

  CsvReader csv_;
  const LogReading& reading_;
  std::string name_;
  MeasuredLog log_;
  std::size_t time_ = 0;
  std::int64_t last_ = 0;
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

tl::unexpected<Error> wrong(std::string place, std::string found, std::string expected, std::string next) {
  return fail({Reason::kUsage, "", std::move(place), std::move(found), std::move(expected), std::move(next)});
}

std::string log_file_name(const std::string& name, const Sha256& digest) {
  std::string stem = std::filesystem::path(name).stem().string();
  for (char& c : stem) {
    const bool plain =
        (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' || c == '_';
    if (!plain) c = '_';
  }
  return std::string(kLogFolder) + "/" + digest_text(digest).substr(0, 12) + "-" + stem.substr(0, 64) +
         ".csv";
}

// The revision that a log counts as, and by what.
Result<NamedRevision> whose(const Job& job, const AttachRequest& request,
                            const std::vector<NamedRevision>& named) {
  const JobRevision* stated = nullptr;
  if (request.revision) {
    const std::uint64_t number = request.base.value_or(job.base().number);
    if (number == 0 || number > job.bases.size())
      return wrong("--base", std::to_string(number), "a base of this job", "see calseal job status");
    stated = job.bases[number - 1].find(*request.revision);
    if (stated == nullptr)
      return wrong("--revision", std::to_string(*request.revision), "a revision of " + base_folder(number),
                   "see calseal job status");
  } else if (!request.word.empty()) {
    return wrong("--word", "a word about no revision", "--revision beside it", "state the revision");
  }
  const auto words = [](const JobRevision& r) {
    return "revision " + std::to_string(r.number()) + " of base " + std::to_string(r.manifest.base_number);
  };
  if (named.size() > 1) {
    return fail({Reason::kLogRevision, request.name, "",
                 "marks of " + words(*named[0].revision) + " and of " + words(*named[1].revision),
                 "those of one revision", "cut the file where the other recording begins"});
  }
  if (!named.empty()) {
    const JobRevision& found = *named.front().revision;
    if (stated != nullptr &&
        (stated->number() != found.number() || stated->manifest.base_number != found.manifest.base_number)) {
      return fail({Reason::kLogRevision, request.name, "", "the " + named.front().by + " of " + words(found),
                   "that of " + words(*stated), "attach it to the revision that it names"});
    }
    return named.front();
  }
  if (stated != nullptr && request.word.empty()) {
    return wrong(
        "--word",
        "nothing in the log names revision " + std::to_string(stated->number()) + ", and no word was given",
        "how you know that it was driven with it", "say it: --word TEXT; it is noted as your word");
  }
  return NamedRevision{stated, stated == nullptr ? "nothing" : "word"};
}

}  // namespace

Result<MeasuredLog> measure_log(std::string_view text, const LogReading& reading, const std::string& name) {
  return Measuring(text, reading, name).run();
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

Result<AttachedLog> attach_log(const Job& job, const AttachRequest& request, UtcTime now) {
  if (!is_line(request.word))
    return wrong("--word", printable(request.word, 80), "one line of at most 200 bytes", "shorten it");
  CALSEAL_ASSIGN(MeasuredLog log, measure_log(text_of(request.log), request.reading, request.name));
  CALSEAL_ASSIGN(const NamedRevision owner, whose(job, request, revisions_named_in(job, log.constants)));
  AttachedLog attached;
  Event& event = attached.event;
  event.time = time_text(now);
  event.kind = EventKind::kDriven;
  event.base = job.base().number;
  if (owner.revision != nullptr) {
    event.base = owner.revision->manifest.base_number;
    event.revision = owner.revision->number();
    event.identity = owner.revision->digest;
  }
  event.detail = request.word;
  event.digest = compute_sha256(request.log);
  event.file = log_file_name(request.name, *event.digest);
  event.log = std::move(log.facts);
  event.log->by = owner.by;
  const auto same = [&](const Event& other) {
    return other.kind == EventKind::kDriven && other.digest == event.digest &&
           other.identity == event.identity;
  };
  if (const auto known = std::ranges::find_if(job.events, same);
      known != job.events.end() && exists(job.folder + "/" + known->file)) {
    return AttachedLog{*known, true};
  }
  CALSEAL_ASSIGN(const std::string events, with_events(job.folder, {event}));
  CALSEAL_CHECK(write_files({{job.folder + "/" + event.file, request.log},
                             {job.folder + "/" + std::string(kEventsFile), view_of(events)}}));
  return attached;
}

}  // namespace calseal
