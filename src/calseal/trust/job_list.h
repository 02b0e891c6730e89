// The shop's signed list of all revisions of one controller in one job: what was sealed up to a moment, so
// that gaps, strangers and older revisions show without a memory of one's own.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

class Fields;

inline constexpr std::string_view kJobListLiteral = R"({"calseal":"job-list/1",)";
inline constexpr std::uint64_t kJobListSizeLimit = std::uint64_t{1} << 20;  // bytes
inline constexpr std::size_t kJobListLimit = 4096;

struct ListedRevision {
  Sha256 digest;  // of the manifest
  std::uint64_t base = 1;
  std::uint64_t revision = 0;
  std::uint64_t sequence = 1;
  friend bool operator==(const ListedRevision&, const ListedRevision&) = default;
};

struct JobList {
  KeyId root;
  std::string job;
  std::string controller;
  std::string claimed_time;
  std::vector<ListedRevision> revisions;  // ascending by sequence, at least one
  friend bool operator==(const JobList&, const JobList&) = default;

  const ListedRevision* find(const Sha256& digest) const;
  const ListedRevision& newest() const { return revisions.back(); }
};

// The signed text: its fields, and as it is written.
void job_list_fields(Fields& field, JobList& list);
std::string write_job_list_text(const JobList& list);

// As parse_withdrawals(), with kJobListInvalid and the role `author`. Bases never fall while sequences grow.
Result<JobList> parse_job_list(ByteView file, const TrustFile& trust, const std::string& name);

}  // namespace calseal
