#include "calseal/cli/report/report_audit.h"

#include "calseal/base/text.h"
#include "calseal/cli/archive/audit_output.h"
#include "calseal/report/archive/audit_page.h"

namespace calseal {

Result<MadeReport> report_audit(const ReportOptions& options) {
  CALSEAL_ASSIGN(const AuditRecord record, load_record(options.bundle));
  if (record.scope.part != Part{}) {
    return fail({Reason::kAuditRecordOther, printable(options.bundle), "",
                 "part " + std::to_string(record.scope.part.number) + " of " +
                     std::to_string(record.scope.part.of) + " of an audit",
                 "the record of a whole audit", "join its parts with calseal audit merge"});
  }
  CALSEAL_ASSIGN(const EarlierAudit earlier, load_earlier({options.since, "", {}, {}}));
  Judgement judgement = judge_record(record, earlier.record ? &*earlier.record : nullptr);
  if (!options.since.empty()) compare_findings(judgement, earlier.findings);
  const AuditView view{&record, &judgement, options.tool};
  return MadeReport{audit_html(view), audit_summary_json(view), audit_words(judgement),
                    judgement.clean() ? 0 : 1};
}

}  // namespace calseal
