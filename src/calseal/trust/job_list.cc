#include "calseal/trust/job_list.h"

#include <algorithm>
#include <set>

#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/trust/signers.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

void listed_fields(Fields& field, ListedRevision& revision) {
  field("digest", revision.digest, kDigest);
  field("base", revision.base, Integer{1, kBaseLimit});
  field("revision", revision.revision, Integer{0, kRevisionLimit});
  field("sequence", revision.sequence, Integer{1, kSequenceLimit});
}

tl::unexpected<Error> invalid(const std::string& name, std::string place, std::string found,
                              std::string expected) {
  return fail({Reason::kJobListInvalid, name, std::move(place), std::move(found), std::move(expected),
               "do not use this list; ask the shop for a new one"});
}

Status check_consistency(const JobList& list, const std::string& name) {
  if (list.revisions.empty()) return invalid(name, "/revisions", "no revision", "at least one");
  std::set<Sha256> seen;
  for (std::size_t i = 0; i < list.revisions.size(); ++i) {
    const ListedRevision& revision = list.revisions[i];
    const std::string place = "/revisions/" + std::to_string(i);
    // As in a manifest, where every revision takes a sequence number of its own.
    if (revision.sequence <= revision.revision)
      return invalid(name, place + "/sequence", std::to_string(revision.sequence),
                     "more than revision " + std::to_string(revision.revision));
    if (!seen.insert(revision.digest).second)
      return invalid(name, place + "/digest", digest_text(revision.digest), "each revision once");
    if (i == 0) continue;
    if (revision.sequence <= list.revisions[i - 1].sequence)
      return invalid(name, place + "/sequence", std::to_string(revision.sequence), "ascending numbers");
    if (revision.base < list.revisions[i - 1].base)
      return invalid(name, place + "/base", std::to_string(revision.base),
                     "at least base " + std::to_string(list.revisions[i - 1].base) + " of the one before");
  }
  return {};
}

}  // namespace

const ListedRevision* JobList::find(const Sha256& digest) const {
  const auto it = std::find_if(revisions.begin(), revisions.end(),
                               [&](const ListedRevision& revision) { return revision.digest == digest; });
  return it == revisions.end() ? nullptr : &*it;
}

void job_list_fields(Fields& field, JobList& list) {
  field.kind_of_file("job-list/1");
  field("root", list.root, kDigest);
  field("job", list.job, kName);
  field("controller", list.controller, kName);
  field("claimed_time", list.claimed_time, kTime);
  field("revisions", list.revisions, List{Record{listed_fields}, kJobListLimit});
}

std::string write_job_list_text(const JobList& list) { return canonical_text(list, job_list_fields); }

Result<JobList> parse_job_list(ByteView file, const TrustFile& trust, const std::string& name) {
  CALSEAL_ASSIGN(const Statement statement,
                 read_statement(file, kJobListLiteral, kJobListSizeLimit, Reason::kJobListInvalid, name));
  CALSEAL_ASSIGN(const Signers signers, verify_statement(statement, trust, name));
  CALSEAL_ASSIGN(JobList list, parse_canonical_text(statement.signed_bytes, Reason::kJobListInvalid,
                                                    job_list_fields, name));
  CALSEAL_CHECK(check_consistency(list, name));
  const KeyId root = compute_key_id(trust.root);
  if (list.root != root)
    return invalid(name, "/root", digest_text(list.root), "the trust file's root " + digest_text(root));
  CALSEAL_CHECK(
      judge_statement(signers, Role::kAuthor, {list.job, list.controller}, list.claimed_time, name));
  return list;
}

}  // namespace calseal
