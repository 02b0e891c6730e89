// One controller's part of a job as its folder tells it: bundles first, then what was noted about them.
//
// Where notes and bundles contradict each other, the bundles win, and a finding says so. Whatever an
// interrupted run or a careless hand has left is read and explained, never mended silently.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/set_descriptor.h"
#include "calseal/job/event.h"
#include "calseal/job/handover.h"
#include "calseal/trust/trust_file.h"
#include "calseal/trust/withdrawal.h"

namespace calseal {

inline constexpr std::size_t kJobBundleLimit = 4096;  // bundles of one base

// job.json
struct JobFacts {
  std::string job;                // name
  std::string controller;         // name
  std::string vehicle_reference;  // line, or empty
  std::string opened;             // time
  friend bool operator==(const JobFacts&, const JobFacts&) = default;
};
std::string write_job_facts(const JobFacts& facts);
Result<JobFacts> parse_job_facts(ByteView bytes, const std::string& name);

// One bundle that stands in the folder.
struct JobRevision {
  std::string file;  // within the folder
  Manifest manifest;
  Sha256 digest;                            // of the manifest: the revision's identity
  Sha256 file_digest;                       // of the bundle file
  bool verified = false;                    // its seal holds under the trust file that was given
  bool incomplete = false;                  // required roles have not signed yet
  std::vector<std::string> identity_kinds;  // of the manifest's identity fields, in their order
  std::optional<Sha256> reissue_of;
  std::optional<SetDescriptor> set;  // that it is a member of
  std::uint64_t changed = 0;         // bytes that differ from the base, derived ones left out
  std::uint64_t unaccounted = 0;     // of these, in ranges that no option explains
  bool withdrawn = false;            // by a note, or by the list of withdrawals that was given
  bool placed = true;  // in its base's folder; else a run that was cut off has only handed it over

  std::uint64_t number() const { return manifest.revision; }
};

struct JobBase {
  std::uint64_t number = 1;
  std::string reason;                     // as sealed, or as noted
  std::vector<std::string> read;          // files within the folder
  std::vector<std::string> options;       // that came with the base; files within the folder
  std::vector<std::string> sent_options;  // that came with a send, likewise
  std::string map_name, map_grade;        // of the region map in force; empty: it cannot be read
  std::uint64_t map_version = 0;          // likewise
  std::optional<Sha256> map_digest;
  std::string mended_map;    // file of its newest mended version within the folder; empty: none
  std::string mended_fault;  // why that is not the version that was noted last; empty: it is, or none was
  std::vector<JobRevision> revisions;  // ascending by sequence

  const JobRevision* way_back() const;  // the newest revision 0; nothing before it is sealed
  const JobRevision* newest() const;    // of all, by sequence
  // The bundle of a revision number: the newest one with it.
  const JobRevision* find(std::uint64_t revision) const;
  std::vector<std::string> option_files() const;  // of the base and of sends
  std::string map_words() const;                  // "eg47 version 3 (draft)"; not made printable
};

// Something in the folder that is not as it should be, or that a person should know.
struct JobFinding {
  std::string code;  // stable; docs/job.md lists them
  std::string file;  // within the folder, or empty
  std::string text;
};

struct Job {
  std::string folder;  // as named
  JobFacts facts;
  std::vector<Event> events;   // in the order noted
  std::vector<JobBase> bases;  // ascending, at least one
  std::vector<JobFinding> findings;
  bool salt_present = false;

  const JobBase& base() const { return bases.back(); }
  const JobRevision* newest() const;  // of all bases, by sequence; nothing before one is sealed
  // The last event of a kind about a revision (or a reissue of it), if any.
  const Event* last(EventKind kind, const JobRevision& revision) const;
  bool has(EventKind kind, const JobRevision& revision) const { return last(kind, revision) != nullptr; }
  // By bundles and notes: a number stays taken although its bundle is lost. 0: nothing sealed yet.
  std::uint64_t highest_sequence() const;
  std::uint64_t highest_revision() const;  // of the current base
  const JobRevision* find(const Sha256& identity) const;
  bool closed() const;  // by the last note that says so
};

struct JobContext {
  const TrustFile* trust = nullptr;             // nothing: seals are not looked at
  const WithdrawalList* withdrawals = nullptr;  // nothing: only notes tell what is withdrawn
  // The newest hand-over of the vehicle: what a run that was cut off has not put in its place counts too.
  const std::vector<HandedBundle>* handed = nullptr;
};

// Reads everything but payloads. kFileMissing when there is no job.json, kJobDamaged when it says nothing or
// there is no base; all else is a finding.
Result<Job> read_job(const std::string& folder, const JobContext& context);

// The events file with one more event, as it is to be written.
Result<std::string> with_events(const std::string& folder, const std::vector<Event>& more);

}  // namespace calseal
