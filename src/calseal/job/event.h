// What happened in a job, as its folder remembers it: one JSON object a line, in the order of events, never
// rewritten.
//
// What was sealed is in the bundles. Events say what bundles cannot: handed over, acknowledged, written,
// confirmed, withdrawn, driven.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/record.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"

namespace calseal {

inline constexpr std::uint64_t kEventsSizeLimit = std::uint64_t{16} << 20;  // bytes

enum class EventKind : std::uint8_t {
  kOpened,        // a base came in; detail: why
  kSealed,        // a revision was sealed
  kReissued,      // a revision was sealed again with its whole image
  kSent,          // handed to the customer; detail: the channel
  kAcknowledged,  // the customer has it, by his own word
  kWritten,       // it is in the controller, by somebody's word
  kConfirmed,     // a read-back or a scan says so; detail: the grade of proof
  kWithdrawn,     // must not be written any more; detail: why
  kDriven,        // a drive log was attached
  kCarried,       // options were taken over to this base; detail: what did not fit
  kRemark,        // anything else; detail: the words
  kClosed,        // nothing more is to be done on this controller; detail: why
  kReopened,      // it goes on; detail: why
  kReceived,      // a parcel came from the customer; detail: where it is kept, within the job's folder
  kOrdered        // what the customer wants from now on
};
inline constexpr std::array<std::string_view, 15> kEventNames{
    "opened", "sealed",  "reissued", "sent",   "acknowledged", "written",  "confirmed", "withdrawn",
    "driven", "carried", "remark",   "closed", "reopened",     "received", "ordered"};
inline std::string_view event_name(EventKind kind) { return kEventNames[static_cast<std::size_t>(kind)]; }
inline std::optional<EventKind> find_event(std::string_view name) {
  return find_word<EventKind>(kEventNames, name);
}

// What a drive log turned out to be; see measure_log(). With `unread` everything but `by` is empty.
struct LogFacts {
  std::uint64_t rows = 0;
  std::uint64_t columns = 0;
  std::string time_column;
  std::string unit;         // "us", "ms", "s" or "min"; "clock", "date"
  std::string first, last;  // time as written in the first and the last row
  std::uint64_t gaps = 0;
  std::string longest_gap;  // seconds, decimal; empty without a gap
  std::string encoding;     // "utf-8", "utf-16" or "windows-1252"
  std::string separator;    // "comma", "semicolon" or "tab"
  std::string unread;       // why it could not be measured
  std::string by;  // what ties it to the revision: "revision-mark", "verification-number", "word", "nothing"
  friend bool operator==(const LogFacts&, const LogFacts&) = default;
};

// Who sent a parcel, and as which of his; see parcel/judge.h.
struct ParcelFacts {
  Sha256 key;  // its id
  std::uint64_t number = 1;
  friend bool operator==(const ParcelFacts&, const ParcelFacts&) = default;
};

struct Event {
  std::string time;  // UTC
  EventKind kind = EventKind::kRemark;
  std::uint64_t base = 1;
  std::optional<std::uint64_t> revision;
  std::optional<Sha256> identity;  // of the revision
  std::string detail;              // line
  std::string file;                // within the folder
  std::optional<Sha256> digest;    // of the file; of a parcel; kOrdered: of the parcel.json that says so
  std::optional<LogFacts> log;     // kDriven only
  std::optional<std::uint64_t> sequence;  // kSealed, kReissued: stays taken although the bundle is lost
  std::optional<ParcelFacts> parcel;      // kReceived only: stays known although the parcel is erased
  std::optional<std::vector<std::string>> options;  // kOrdered only: names, ascending
  friend bool operator==(const Event&, const Event&) = default;
};

void event_fields(Fields& field, Event& event);
// With its line end.
std::string write_event(const Event& event);

// What a person reads of it beside its name: its words, the options of an order, or its file. Not made
// printable.
std::string event_words(const Event& event);

// A line of an events file that says nothing to us.
struct BrokenEvent {
  std::uint64_t line = 1;
  Error error;
};
struct EventList {
  std::vector<Event> events;
  std::vector<BrokenEvent> broken;
};

// Never fails: what cannot be read is listed, and the rest counts.
EventList parse_events(std::string_view text, const std::string& name);

}  // namespace calseal
