#include "calseal/cli/archive/audit_run.h"

#include <unistd.h>

#include "calseal/archive/mirror.h"
#include "calseal/base/file.h"
#include "calseal/base/interrupt.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/archive/audit_part.h"
#include "calseal/cli/archive/audit_progress.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/trust/spoken_code.h"
#include "calseal/trust/succession.h"

namespace calseal {
namespace {

constexpr int kInterrupted = 130;

class Auditing {
 public:
  Auditing(const AuditOptions& options, const Console& console)
      : options_(options), output_(options.output), console_(console) {}

  Result<int> run() {
    CALSEAL_CHECK(check_options());
    CALSEAL_ASSIGN(earlier_, load_earlier(output_));
    CALSEAL_CHECK(load_trust_chain());
    CALSEAL_ASSIGN(survey_, survey_archive(options_.folders));
    const InterruptionAsked interruption;
    AuditRequest request;
    request.survey = &survey_;
    request.depth = options_.depth == "proved" ? Depth::kProved : Depth::kStored;
    request.trust = trust_;
    request.trust_digest = trust_digest_;
    request.part = part_;
    request.threads = static_cast<unsigned>(options_.threads);
    request.earlier = earlier_.record ? &*earlier_.record : nullptr;
    if (!output_.record.empty()) request.journal = output_.record + ".unfinished";
    request.resume = options_.resume;
    Progress line(console_, "auditing");
    request.progress = audit_progress(line);
    request.stop = [&] { return interruption.asked(); };
    CALSEAL_ASSIGN(record_, run_audit(request));
    line.end();
    const Status recorded = keep_record(request.journal);
    if (part_.of > 1) {
      CALSEAL_CHECK(recorded);
      say_part(part_, record_, output_.record, console_);
      return record_.whole ? 0 : kInterrupted;
    }
    Judgement judgement = judge_record(record_, request.earlier, output_.expected);
    if (!output_.since.empty()) compare_findings(judgement, earlier_.findings);
    CALSEAL_CHECK(look_at_mirror(judgement, request));
    CALSEAL_ASSIGN(const int status, give_out(judgement, output_, recorded, console_));
    if (record_.whole) return status;
    console_.note("stopped" +
                  std::string(request.journal.empty() ? "" : "; the same command with --resume goes on") +
                  "\n");
    return kInterrupted;
  }

 private:
  Status check_options() {
    const auto refuse = [](const std::string& place, const std::string& found, const std::string& expected) {
      return fail(usage_error(place, found, expected, "see calseal audit --help"));
    };
    if (options_.folders.empty()) return refuse("DIR", "no folder", "the folders of the archive");
    if (options_.trust.empty()) return refuse("--trust", "nothing", "the shop's newest trust file");
    CALSEAL_ASSIGN(part_, stated_part(options_.part));
    output_.record = path_of_part(output_.record, part_);
    if (part_.of > 1 && output_.record.empty())
      return refuse("--part", "no --record", "a record for this part, which merge joins with the others");
    if (part_.of > 1 && (!output_.reports.empty() || !options_.mirror.empty() || output_.expected))
      return refuse("--part", "--report, --mirror or --expect",
                    "only the facts of a part: merge judges them");
    if (options_.resume && output_.record.empty())
      return refuse("--resume", "no --record", "the record to go on with");
    if (options_.heal && options_.mirror.empty())
      return refuse("--heal", "no --mirror", "where good copies are");
    std::vector<std::string> outputs = output_.reports;
    if (!output_.record.empty()) outputs.push_back(output_.record);
    CALSEAL_CHECK(refuse_clashes(outputs, {options_.trust}));
    return refuse_unwritable(output_);
  }

  Status load_trust_chain() {
    CALSEAL_ASSIGN(Bytes bytes, read_file(options_.trust, kTrustFileSizeLimit));
    trust_digest_ = compute_sha256(bytes);
    std::vector<NamedBytes> successions;
    for (const std::string& path : options_.successions) {
      CALSEAL_ASSIGN(Bytes step, read_file(path, kSuccessionSizeLimit));
      successions.push_back({printable(path), std::move(step)});
    }
    CALSEAL_ASSIGN(
        chain_, parse_trust_chain({printable(options_.trust), std::move(bytes)}, successions, options_.root));
    trust_.push_back(&chain_.trust);
    for (auto step = chain_.steps.rbegin(); step != chain_.steps.rend(); ++step)
      trust_.push_back(&step->old_trust);
    if (options_.root.empty()) {
      console_.note("note: the root of " + printable(options_.trust) +
                    " was not compared with what the shop reads " +
                    "aloud (--root): " + spoken_code(Spoken::kKey, compute_key_id(chain_.trust.root)) + "\n");
    }
    return {};
  }

  Status keep_record(const std::string& journal) const {
    if (!record_.whole || output_.record.empty()) return {};
    CALSEAL_CHECK(write_file(output_.record, view_of(write_record(record_))));
    ::unlink(journal.c_str());
    return {};
  }

  Status look_at_mirror(Judgement& judgement, const AuditRequest& audit) {
    if (options_.mirror.empty() || !record_.whole || judgement.clean()) return {};
    CALSEAL_ASSIGN(const Survey mirror, survey_archive({options_.mirror}));
    MirrorRequest request;
    request.archive = &survey_;
    request.mirror = &mirror;
    request.record = &record_;
    request.earlier = audit.earlier;
    request.trust = trust_;
    request.heal = options_.heal;
    request.stop = audit.stop;
    const Healed healed = heal_archive(request, judgement);
    for (const Error& error : healed.failed) console_.note(error_text(error));
    return {};
  }

  const AuditOptions& options_;
  AuditOutput output_;
  const Console& console_;
  Part part_;
  EarlierAudit earlier_;
  TrustChain chain_;
  std::vector<const TrustFile*> trust_;
  Sha256 trust_digest_;
  Survey survey_;
  AuditRecord record_;
};

}  // namespace

Result<int> audit_as_told(const AuditOptions& options, const Console& console) {
  return Auditing(options, console).run();
}

}  // namespace calseal
