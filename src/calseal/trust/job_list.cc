#include "calseal/trust/job_list.h"

#include <algorithm>
#include <set>

#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/trust/signers.h"
#include "calseal/trust/statement.h"

namespace calseal {
namespace {

JsonValue json_revision(const ListedRevision& revision) {
  return json_object({{"digest", json_digest(revision.digest)},
                      {"base", json(revision.base)},
                      {"revision", json(revision.revision)},
                      {"sequence", json(revision.sequence)}});
}

ListedRevision read_revision(const JsonNode& node) {
  JsonObject object(node);
  ListedRevision revision;
  revision.digest = read_digest(object, "digest");
  revision.base = object.integer("base", 1, kBaseLimit);
  revision.revision = object.integer("revision", 0, kRevisionLimit);
  revision.sequence = object.integer("sequence", 1, kSequenceLimit);
  object.done();
  return revision;
}

JobList read_fields(JsonObject& object) {
  JobList list;
  list.root = read_digest(object, "root");
  list.job = read_name(object, "job");
  list.controller = read_name(object, "controller");
  list.claimed_time = read_time(object, "claimed_time");
  for (const JsonNode& revision : object.items("revisions", kJobListLimit))
    list.revisions.push_back(read_revision(revision));
  return list;
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

std::string write_job_list_text(const JobList& list) {
  return canonical_json(json_object({{"calseal", json("job-list/1")},
                                     {"root", json_digest(list.root)},
                                     {"job", json(list.job)},
                                     {"controller", json(list.controller)},
                                     {"claimed_time", json(list.claimed_time)},
                                     {"revisions", json_array(list.revisions, json_revision)}}));
}

Result<JobList> parse_job_list(ByteView file, const TrustFile& trust, const std::string& name) {
  CALSEAL_ASSIGN(const Statement statement,
                 read_statement(file, kJobListLiteral, kJobListSizeLimit, Reason::kJobListInvalid, name));
  CALSEAL_ASSIGN(const Signers signers, verify_statement(statement, trust, name));
  CALSEAL_ASSIGN(JobList list, parse_canonical_text(statement.signed_bytes, Reason::kJobListInvalid,
                                                    read_fields, write_job_list_text, name));
  CALSEAL_CHECK(check_consistency(list, name));
  const KeyId root = compute_key_id(trust.root);
  if (list.root != root)
    return invalid(name, "/root", digest_text(list.root), "the trust file's root " + digest_text(root));
  CALSEAL_CHECK(
      judge_statement(signers, Role::kAuthor, {list.job, list.controller}, list.claimed_time, name));
  return list;
}

}  // namespace calseal
