#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/record.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/job/layout.h"
#include "calseal/job/ledger_link.h"
#include "calseal/report/changes/comparison_report.h"
#include "calseal/report/changes/corrections_report.h"
#include "calseal/report/job/job_report.h"
#include "calseal/report/option/option_report.h"

namespace calseal {
namespace {

struct Handed {
  std::string what, file, way;
};

std::vector<Handed> handover(const Job& job, const std::string& bundle) {
  std::vector<Handed> all{
      {"bundle", job.folder + "/" + bundle, "by any way: mail, cloud, stick; any change to it is refused"}};
  if (const std::string head = job.folder + "/" + head_beside(bundle); exists(head))
    all.push_back(
        {"ledger head", head, "with the bundle; whoever keeps it can show later what the ledger held"});
  const JobRevision* way_back = job.base().way_back();
  const bool first = job.base().number == 1 && (way_back == nullptr || !job.has(EventKind::kSent, *way_back));
  if (first && job.salt_present)
    all.push_back({"salt", job.folder + "/job.salt", "once, and by another way than the bundle"});
  if (first) {
    all.push_back(
        {"trust file", "the shop's", "once; whose root you read aloud by telephone or across the counter"});
  }
  return all;
}

}  // namespace

std::string handover_text(const Job& job, const std::string& bundle, const Page& page) {
  std::string text = "\nhand over\n";
  for (const Handed& one : handover(job, bundle))
    text += labelled(page, one.what, printable(one.file, 1000) + ": " + one.way);
  return text;
}

JsonValue handover_json(const Job& job, const std::string& bundle) {
  return json_array(handover(job, bundle), [](const Handed& one) {
    return json_object({{"what", json(one.what)}, {"file", json(one.file)}, {"way", json(one.way)}});
  });
}

std::string sent_text(const Job& job, const Sent& sent, const Page& page) {
  const auto plan = make_plan(sent.map, sent.base);
  std::string text = "sealed revision " + std::to_string(sent.sealed.manifest.revision) + " of job " +
                     job.facts.job + ", base " + std::to_string(sent.sealed.manifest.base_number) +
                     ", sequence " + std::to_string(sent.sealed.manifest.sequence) + "\n";
  text += labelled(page, "bundle", printable(job.folder + "/" + sent.bundle, 1000));
  text += labelled(page, "identity", digest_text(sent.sealed.digest));
  text += "\ncorrected\n" + corrections_text(sent.map, sent.corrections, page);
  if (plan) text += "\n" + confinement_text(*plan, sent.sealed.proof, sent.result, page);
  if (sent.account) {
    text += "\n" + account_text(sent.map, *sent.account, sent.base, sent.result, page);
  } else {
    text += labelled(page, "account", "no options declared: nothing says what the changed bytes are for",
                     Mark::kCaution);
  }
  text += item_changes_text(sent.map, sent.base, sent.result, page);
  if (sent.sealed.incomplete) {
    text += labelled(page, "signatures", "a required one is missing: countersign before you hand it over",
                     Mark::kBad);
  } else {
    text += labelled(
        page, "checked",
        "as the customer will, on the read of this base: accepted, and the edited image rebuilt to the byte",
        Mark::kGood);
  }
  return text;
}

JsonValue sent_json(const Job& job, const Sent& sent) {
  JsonValue value = json_object(
      {{"calseal", json("job-send/1")},
       {"job", json(job.facts.job)},
       {"base", json(sent.sealed.manifest.base_number)},
       {"revision", json(sent.sealed.manifest.revision)},
       {"sequence", json(sent.sealed.manifest.sequence)},
       {"identity", json_digest(sent.sealed.digest)},
       {"bundle", json(sent.bundle)},
       {"incomplete", json(sent.sealed.incomplete)},
       {"corrections", corrections_json(sent.map, sent.corrections)},
       {"accounted", json(sent.account.has_value())},
       {"unaccounted_bytes", json(sent.account ? sent.account->bytes(Origin::kUnaccounted) : 0)}});
  if (sent.account)
    value.members.emplace_back("account", account_json(sent.map, *sent.account, sent.base, sent.result));
  value.members.emplace_back("items", item_changes_json(sent.map, sent.base, sent.result));
  value.members.emplace_back("hand_over", handover_json(job, sent.bundle));
  return value;
}

std::string carried_base_text(const Job& job, const NewBase& made, const Page& page) {
  std::string text = "opened base " + std::to_string(made.number) + " of job " + job.facts.job + ": " +
                     printable(made.sealed.manifest.base_reason) + "\n";
  text += labelled(page, "way back", printable(job.folder + "/" + made.bundle, 1000));
  text += labelled(page, "identity", digest_text(made.sealed.digest));
  text += labelled(
      page, "before",
      "bundles of base " + std::to_string(made.number - 1) + " fit no longer, their way back included",
      Mark::kCaution);
  if (made.options.empty()) return text + labelled(page, "options", "none to carry");
  for (const CarriedFile& option : made.options) {
    text += "\noption " + printable(option.name) + ": " +
            (option.fits() ? "carried, " + option.file : std::string("DOES NOT FIT")) + "\n";
    if (option.problem) {
      text += labelled(page, "why", std::string(code(option.problem->reason)) + ": " + option.problem->found);
    } else if (!option.fits()) {
      text += carried_text(made.from, made.to, option.carried, page);
    }
  }
  return text +
         "\nCompose the new image from the carried options, look at it as at any edit, and make what does "
         "not fit anew.\n";
}

JsonValue carried_base_json(const Job& job, const NewBase& made) {
  return json_object(
      {{"calseal", json("job-carry/1")},
       {"job", json(job.facts.job)},
       {"base", json(made.number)},
       {"reason", json(made.sealed.manifest.base_reason)},
       {"identity", json_digest(made.sealed.digest)},
       {"bundle", json(made.bundle)},
       {"options", json_array(made.options,
                              [&](const CarriedFile& option) {
                                JsonValue value = json_object({{"option", json(option.name)},
                                                               {"fits", json(option.fits())},
                                                               {"file", json(option.file)}});
                                if (option.problem) {
                                  value.members.emplace_back("problem", json_error(*option.problem));
                                } else {
                                  value.members.emplace_back(
                                      "carried", carried_json(made.from, made.to, option.carried));
                                }
                                return value;
                              })},
       {"hand_over", handover_json(job, made.bundle)}});
}

std::string reissued_text(const Job& job, const Reissued& made, const Page& page) {
  if (made.already_whole) {
    return "revision 0 is whole as it is: hand its bundle over again\n" +
           labelled(page, "bundle", printable(job.folder + "/" + made.bundle, 1000)) +
           labelled(page, "identity", digest_text(made.identity));
  }
  std::string text = "sealed again, with its whole image\n" +
                     labelled(page, "bundle", printable(job.folder + "/" + made.bundle, 1000)) +
                     labelled(page, "identity", digest_text(made.identity));
  if (!made.passed_over.empty()) {
    std::string numbers;
    for (const std::uint64_t number : made.passed_over)
      numbers += (numbers.empty() ? "" : ", ") + std::to_string(number);
    text += labelled(page, "caution",
                     "it is now the newest; later revisions (" + numbers + ") are permitted returns of it",
                     Mark::kCaution);
  }
  return text + labelled(page, "needs",
                         "a read of the controller as it is now: learned values and what tells the vehicle "
                         "are in no revision but 0. Where it cannot be read "
                         "at all, revision 0 alone can be written whole (--revive).");
}

JsonValue reissued_json(const Job& job, const Reissued& made) {
  return json_object(
      {{"calseal", json("job-reissue/1")},
       {"job", json(job.facts.job)},
       {"bundle", json(made.bundle)},
       {"identity", json_digest(made.identity)},
       {"already_whole", json(made.already_whole)},
       {"passed_over", json_array(made.passed_over, [](std::uint64_t number) { return json(number); })},
       {"hand_over", handover_json(job, made.bundle)}});
}

namespace {

std::string measures_text(const LogFacts& log, const Page& page) {
  if (!log.unread.empty()) {
    return labelled(page, "measured", "no: " + log.unread, Mark::kCaution) +
           labelled(page, "to measure it",
                    "say how to read it: --time-column, --time-unit, --separator; it is kept either way");
  }
  return labelled(page, "rows",
                  grouped(log.rows) + " of " + grouped(log.columns) + " columns, " + log.separator + ", " +
                      log.encoding) +
         labelled(page, "time",
                  "column " + log.time_column + ", " +
                      (log.unit == "clock" || log.unit == "date" ? "a " : "in ") + log.unit + ", " +
                      log.first + " to " + log.last) +
         labelled(page, "gaps",
                  log.gaps == 0 ? "none" : grouped(log.gaps) + ", the longest " + log.longest_gap + " s",
                  log.gaps == 0 ? Mark::kPlain : Mark::kCaution);
}

}  // namespace

std::string log_length(const LogFacts& log) {
  return log.unread.empty() ? grouped(log.rows) + " rows" : "not measured";
}

std::string attached_log_text(const AttachedLog& attached, const Page& page) {
  const Event& event = attached.event;
  const LogFacts& log = *event.log;
  std::string text = (attached.was_there ? "attached already: " : "attached ") + printable(event.file) + "\n";
  text += labelled(page, "digest", digest_text(*event.digest));
  text += measures_text(log, page);
  if (!event.revision)
    return text + labelled(page, "counts as", "no revision's: nothing in it names one, and no word was given",
                           Mark::kCaution);
  return text + labelled(page, "counts as",
                         "revision " + std::to_string(*event.revision) + "'s, base " +
                             std::to_string(event.base) + ", by " +
                             (log.by == "word" ? "your word: " + printable(event.detail)
                                               : "the " + log.by + " in it"));
}

JsonValue attached_log_json(const AttachedLog& attached) {
  JsonValue value = json_object({{"calseal", json("job-log/1")}, {"was_there", json(attached.was_there)}});
  value.members.emplace_back("event", record_json(attached.event, event_fields));
  return value;
}

}  // namespace calseal
