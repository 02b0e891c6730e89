#include "calseal/cli/check/check_evidence.h"

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/check/read_bundle.h"
#include "calseal/cli/check/evidence_files.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/reads/read_arguments.h"

namespace calseal {
namespace {

// A state that is not there yet is a new one; whatever else keeps it from being read is said.
Status load_state(const std::string& path, std::optional<NamedBytes>& file) {
  if (path.empty()) return {};
  Result<Bytes> bytes = read_file(path, kStateSizeLimit);
  if (!bytes && bytes.error().reason != Reason::kFileMissing) return fail(bytes.error());
  file = NamedBytes{printable(path), bytes ? *std::move(bytes) : Bytes()};
  return {};
}

}  // namespace

void add_check_evidence(CommandLine& app, CheckEvidence& evidence) {
  app.add_option("--trust", evidence.trust, "The shop's trust file")->takes("FILE");
  app.add_option("--root", evidence.root, "Fingerprint of the shop's root, as the shop read it to you")
      ->takes("FINGERPRINT");
  app.add_option("--read", evidence.reads, "The controller's own read; an earlier revision read back will do")
      ->takes("[MEMORY=]FILE");
  app.add_option("--salt", evidence.salt, "The job's salt file, which lets the vehicle be proved")
      ->takes("FILE");
  app.add_option("--vehicle", evidence.vehicle, "The vehicle reference that you and the shop use");
  app.add_flag("--read-is-fresh", evidence.fresh, "Declare: nothing was driven or learned since the read");
  app.add_option("--withdrawals", evidence.withdrawals, "The shop's newest list of withdrawals")
      ->takes("FILE");
  app.add_option("--job-list", evidence.job_list, "The shop's newest list of this job's revisions")
      ->takes("FILE");
  app.add_option("--partner", evidence.partners, "Another bundle of the same set; repeat for each")
      ->takes("FILE");
  app.add_flag("--return", evidence.declared_return,
               "Declare: go back to this earlier revision, as the newest accepted one permits");
  app.add_option("--newest", evidence.newest, "The newest accepted bundle, for --return without --state")
      ->takes("FILE");
  app.add_option("--succession", evidence.successions,
                 "How the shop's root was replaced since you were told its fingerprint; oldest first")
      ->takes("FILE");
  app.add_option("--inclusion", evidence.inclusion,
                 "Proof from the shop's ledger, for a seal by a key that was stolen later")
      ->takes("FILE");
  app.add_option("--ledger-head", evidence.ledger_head,
                 "Head of the shop's ledger that came with the bundle; keep it")
      ->takes("FILE");
  app.add_flag("--revive", evidence.revive,
               "Declare: write revision 0 whole, without a read (needs --vehicle)");
  app.add_flag("--old-base", evidence.old_base,
               "Declare, with --revive: the controller has the base of this revision 0, although the state "
               "knows a newer one");
  app.add_flag("--clock-is-right", evidence.clock_is_right,
               "Declare: this machine's clock is right, although the state has seen a later time");
}

Result<CheckRequest> load_check_request(const CheckEvidence& evidence) {
  CheckRequest request;
  request.bundle_name = printable(evidence.bundle);
  request.trust_name = printable(evidence.trust);
  request.stated_root = evidence.root;
  request.revive = evidence.revive;
  request.seal_only = evidence.seal_only;
  request.evidence.read_is_fresh = evidence.fresh;
  request.evidence.vehicle_reference = evidence.vehicle;
  request.now = current_time();
  CALSEAL_ASSIGN(request.trust, read_file(evidence.trust, kTrustFileSizeLimit));
  CALSEAL_CHECK(load_files(evidence.successions, kSuccessionSizeLimit, request.successions));
  const auto chain =
      parse_trust_chain({request.trust_name, request.trust}, request.successions, request.stated_root);
  const TrustFile* const trust = chain ? &chain->trust : nullptr;
  CALSEAL_ASSIGN(request.bundle, read_bundle(evidence.bundle, trust));
  CALSEAL_ASSIGN(request.read, load_read_files(evidence.reads));
  request.declared_return = evidence.declared_return;
  request.declared_old_base = evidence.old_base;
  request.declared_clock = evidence.clock_is_right;
  for (const std::string& path : evidence.partners) {
    CALSEAL_ASSIGN(Bytes bytes, read_bundle(path, trust));
    request.partners.push_back({printable(path), std::move(bytes)});
  }
  CALSEAL_CHECK(load_file(evidence.withdrawals, kWithdrawalSizeLimit, request.withdrawals));
  CALSEAL_CHECK(load_file(evidence.job_list, kJobListSizeLimit, request.job_list));
  CALSEAL_CHECK(load_file(evidence.inclusion, kInclusionSizeLimit, request.inclusion));
  CALSEAL_CHECK(load_file(evidence.ledger_head, kTreeHeadSizeLimit, request.ledger_head));
  if (!evidence.newest.empty()) {
    CALSEAL_ASSIGN(Bytes bytes, read_bundle(evidence.newest, trust));
    request.newest = NamedBytes{printable(evidence.newest), std::move(bytes)};
  }
  CALSEAL_CHECK(load_state(evidence.state, request.state));
  CALSEAL_CHECK(load_salt(evidence.salt, request.evidence.salt));
  return request;
}

std::vector<std::string> evidence_paths(const CheckEvidence& evidence) {
  std::vector<std::string> paths = paths_of(evidence.reads);
  paths.insert(paths.end(), {evidence.bundle, evidence.trust, evidence.salt, evidence.withdrawals,
                             evidence.job_list, evidence.inclusion, evidence.newest, evidence.ledger_head});
  for (const auto* list : {&evidence.successions, &evidence.partners})
    paths.insert(paths.end(), list->begin(), list->end());
  return paths;
}

}  // namespace calseal
