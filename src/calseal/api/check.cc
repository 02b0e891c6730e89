#include "calseal/check/check.h"

#include "calseal/api/check.h"
#include "calseal/api/given.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/verdict/verdict_report.h"

namespace calseal::api {
namespace {

Outcome outcome_of(calseal::Outcome outcome) {
  switch (outcome) {
    case calseal::Outcome::kAccepted:
      return Outcome::kAccepted;
    case calseal::Outcome::kAuthentic:
      return Outcome::kAuthentic;
    case calseal::Outcome::kRefused:
      break;
  }
  return Outcome::kRefused;
}

calseal::CheckRequest question_of(const CheckRequest& request) {
  calseal::CheckRequest question;
  question.bundle_name = printable(request.bundle.name);
  question.bundle = request.bundle.bytes;
  question.trust_name = printable(request.trust.name);
  question.trust = request.trust.bytes;
  question.stated_root = request.stated_root;
  question.read = read_files(request.read);
  question.evidence.read_is_fresh = request.read_is_fresh;
  question.evidence.vehicle_reference = request.vehicle_reference;
  question.revive = request.revive;
  question.successions = named(request.successions);
  question.state = named(request.state);
  question.withdrawals = named(request.withdrawals);
  question.job_list = named(request.job_list);
  question.inclusion = named(request.inclusion);
  question.newest = named(request.newest);
  question.partners = named(request.partners);
  question.declared_return = request.go_back;
  question.declared_old_base = request.old_base;
  question.declared_clock = request.clock_is_right;
  question.seal_only = request.seal_only;
  question.now = current_time();
  return question;
}

}  // namespace

Verdict check(const CheckRequest& request) {
  Verdict out;
  calseal::CheckRequest question = question_of(request);
  auto salt = salt_of(request.salt);
  if (!salt) {
    out.reason = std::move(salt).error();
    return out;
  }
  question.evidence.salt = *std::move(salt);
  calseal::Verdict verdict = check_bundle(std::move(question));
  out.outcome = outcome_of(verdict.outcome);
  out.report = verdict_text(verdict, [](Emphasis, std::string_view text) { return std::string(text); });
  out.json = shown_json(verdict_json(verdict));
  out.reason = std::move(verdict.reason);
  out.identity = verdict.manifest_digest;
  for (RebuiltFile& file : verdict.files)
    out.files.push_back({std::move(file.source), std::move(file.bytes), std::move(file.memory)});
  out.state_after_look = std::move(verdict.state_after_look);
  out.state_after_write = std::move(verdict.state_after_write);
  return out;
}

}  // namespace calseal::api
