// One job as evidence: everything that lies in its folder, what can be proved about it from bytes, and what
// is only said.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "calseal/archive/judge.h"
#include "calseal/archive/record.h"
#include "calseal/archive/survey.h"
#include "calseal/base/result.h"
#include "calseal/evidence/take_files.h"
#include "calseal/job/job.h"
#include "calseal/job/layout.h"
#include "calseal/ledger/ledger.h"
#include "calseal/trust/succession.h"
#include "calseal/trust/trust_file.h"
#include "calseal/trust/withdrawal.h"

namespace calseal {

struct EvidenceRequest {
  std::string job;                         // the job's folder
  std::string ledger;                      // empty: the one that the job reports to, where it is there
  std::string trust;                       // the newest trust file
  std::vector<std::string> earlier_trust;  // of the same root, in any order
  std::vector<std::string> successions;    // the oldest first
  std::string withdrawals;                 // the newest list; may be empty
  std::string stated_root;                 // as the shop read it aloud; may be empty
  bool with_salt = false;                  // takes the job's salt along
};

// A trust file as it was at a time: which keys counted for what.
struct TrustVersion {
  std::string file;  // within the evidence
  TrustFile trust;
};

// An entry of the ledger that is about this job.
struct EvidenceEntry {
  std::uint64_t index = 0;
  LedgerFacts facts;
  LedgerReport::Time witnessed;
  std::string proof;  // within the evidence; of `sealed` entries under a signed head
};

struct LedgerEvidence {
  LedgerReport report;
  std::vector<EvidenceEntry> entries;
  std::optional<TreeHead> newest;  // signed
};

struct JobEvidence {
  std::optional<Job> job;          // nothing: job.json says nothing
  std::optional<Error> job_fault;  // why
  AuditRecord record;              // of the job's folder, depth kProved
  std::vector<Finding> findings;   // notes left out
  TrustChain chain;
  bool root_stated = false;            // and it is the one
  std::vector<TrustVersion> versions;  // ascending by version, the newest last
  std::optional<WithdrawalList> withdrawals;
  std::optional<LedgerEvidence> ledger;
  std::optional<Error> ledger_fault;  // there is one, and it cannot be read
  bool salt_left_out = false;
  std::vector<std::string> left_out;  // links, pipes and what could not be read
  std::vector<NewFile> files;         // job/, trust/, keys/, ledger/, by-hand/
};

// Nothing was found, and job and ledger could be read.
bool is_sound(const JobEvidence& evidence);

// One more file of text.
void add_text(std::vector<NewFile>& files, std::string path, std::string_view text);

// What an audit of a folder saw and found, notes left out.
struct JudgedFolder {
  AuditRecord record;
  std::vector<Finding> findings;
};

// Gathers it all; writes nothing. `judged`: the folder was judged already, as a part of a larger one. Damage
// is evidence too: a file that is no bundle any more goes along as it is. Fails only for what stands in the
// request itself: no folder (kFileMissing), a trust file that does not hold or has another root than stated,
// more than kEvidenceSizeLimit (kFileTooLarge).
Result<JobEvidence> gather_evidence(const EvidenceRequest& request,
                                    std::optional<JudgedFolder> judged = std::nullopt);

// The audit of a folder that evidence rests on: every image proved, under the request's trust. The reasons
// of gather_evidence().
Result<JudgedFolder> judge_for_evidence(const EvidenceRequest& request, const Survey& survey);

}  // namespace calseal
