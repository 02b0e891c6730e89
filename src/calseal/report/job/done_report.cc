#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/record.h"
#include "calseal/base/text.h"
#include "calseal/bundle/order_lines.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/job/layout.h"
#include "calseal/report/changes/comparison_report.h"
#include "calseal/report/changes/corrections_report.h"
#include "calseal/report/changes/item_report.h"
#include "calseal/report/job/job_report.h"
#include "calseal/report/option/option_report.h"

namespace calseal {
namespace {

bool is_draft(const RegionMap& map) { return map.grade() == "draft"; }

struct Handed {
  std::string what, file, way;
};

std::vector<Handed> handover(const VehicleJob& job, const std::string& handover) {
  const std::string place = job.folder + "/" + handover + "/";
  std::vector<Handed> all{
      {"hand over", place, "everything in it, by any way: mail, cloud, stick; any change is refused"}};
  std::vector<std::string> names = names_in(place).value_or(std::vector<std::string>());
  std::ranges::stable_partition(names, [](const std::string& name) { return name.ends_with(".calseal"); });
  for (const std::string& name : names) {
    const std::string what = name == kMessageFile         ? "message"
                             : name.ends_with(".head")    ? "ledger head"
                             : name.ends_with(".calseal") ? "bundle"
                                                          : "";
    const std::string way = name == kMessageFile      ? "to paste into your mail; read it first"
                            : name.ends_with(".head") ? "whoever keeps it can show later what the ledger held"
                                                      : "";
    if (!what.empty()) all.push_back({what, place + name, way});
  }
  if (!job.nothing_sent()) return all;
  if (job.controllers.front().salt_present)
    all.push_back(
        {"salt", job.controllers.front().folder + "/job.salt", "once, and by another way than the bundles"});
  all.push_back(
      {"trust file", "the shop's", "once; read its root's fingerprint to him, by telephone or in person"});
  return all;
}

// What is new since the revision before, by item.
std::string news_text(const Sent& sent, const Plan& plan, const Page& page) {
  const ChangesByItem changes =
      changes_by_item(plan, sent.before, sent.result, compare_images(plan, sent.before, sent.result));
  const std::string items =
      item_report_text({sent.map, sent.before, sent.result, changes}, plan, sent.sealed.proof.checks, page);
  return "\nnew since " +
         (sent.parent == 0 ? std::string("the base") : "revision " + std::to_string(sent.parent)) + "\n" +
         (items.empty() ? "  nothing that counts\n" : items);
}

std::string part_text(const VehicleJob& job, const Sent& sent, const Page& page) {
  const auto plan = make_plan(sent.map, sent.base);
  const Manifest& manifest = sent.sealed.manifest;
  std::string text = "sealed revision " + std::to_string(manifest.revision) + " of job " + job.facts.job +
                     ", " + sent.controller + ", base " + std::to_string(manifest.base_number) +
                     ", sequence " + std::to_string(manifest.sequence) + "\n";
  text += labelled(page, "bundle", printable(job.folder + "/" + sent.controller + "/" + sent.bundle, 1000));
  text += labelled(page, "identity", digest_text(sent.sealed.digest));
  text += "\ncorrected\n" + corrections_text(sent.map, sent.corrections, page);
  if (plan) text += "\n" + confinement_text(*plan, sent.sealed.proof, sent.result, page);
  for (const std::string& name : sent.composed)
    text += labelled(page, "put in", "option " + printable(name) + ", which the edit did not hold yet");
  for (const OrderLine& line : order_lines(manifest))
    text += labelled(page, "ordered", order_subject(line) + ": " + order_words(line),
                     line.state == OrderState::kIn ? Mark::kGood : Mark::kCaution);
  if (sent.account) {
    text += "\n" + account_text(sent.map, *sent.account, sent.base, sent.result, page);
  } else {
    text += labelled(page, "account", "no options declared: nothing says what the changed bytes are for",
                     Mark::kCaution);
  }
  if (plan) text += news_text(sent, *plan, page);
  if (is_draft(sent.map))
    text += labelled(page, "region map",
                     "a draft: what it calls a checksum, a copy or editable was verified on too few images",
                     Mark::kCaution);
  if (!sent.way_back_acknowledged)
    text += labelled(page, "wait",
                     "the customer has not acknowledged the way back: do not hand this over before he has",
                     Mark::kCaution);
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

JsonValue order_line_json(const OrderLine& line) {
  return json_object(
      {{"name", json(line.name)}, {"state", json(order_state_name(line.state))}, {"why", json(line.why)}});
}

JsonValue part_json(const Sent& sent) {
  const Manifest& manifest = sent.sealed.manifest;
  JsonValue value = json_object(
      {{"controller", json(sent.controller)},
       {"base", json(manifest.base_number)},
       {"revision", json(manifest.revision)},
       {"sequence", json(manifest.sequence)},
       {"identity", json_digest(sent.sealed.digest)},
       {"bundle", json(sent.bundle)},
       {"incomplete", json(sent.sealed.incomplete)},
       {"way_back_acknowledged", json(sent.way_back_acknowledged)},
       {"draft", json(is_draft(sent.map))},
       {"put_in", json_strings(sent.composed)},
       {"ordered", json_array(order_lines(manifest), order_line_json)},
       {"corrections", corrections_json(sent.map, sent.corrections)},
       {"accounted", json(sent.account.has_value())},
       {"unaccounted_bytes", json(sent.account ? sent.account->bytes(Origin::kUnaccounted) : 0)}});
  if (sent.account)
    value.members.emplace_back("account", account_json(sent.map, *sent.account, sent.base, sent.result));
  value.members.emplace_back("items", item_changes_json(sent.map, sent.before, sent.result));
  return value;
}

}  // namespace

std::string handover_text(const VehicleJob& job, const std::string& folder, const Page& page) {
  std::string text = "\n";
  for (const Handed& one : handover(job, folder))
    text += labelled(page, one.what, printable(one.file, 1000) + (one.way.empty() ? "" : ": " + one.way));
  return text;
}

JsonValue handover_json(const VehicleJob& job, const std::string& folder) {
  return json_array(handover(job, folder), [](const Handed& one) {
    return json_object({{"what", json(one.what)}, {"file", json(one.file)}, {"way", json(one.way)}});
  });
}

std::string sent_text(const VehicleJob& job, const SentTogether& sent, const Page& page) {
  std::string text;
  for (const Sent& part : sent.parts) text += (text.empty() ? "" : "\n") + part_text(job, part, page);
  if (!sent.set) return text;
  std::string order;
  for (const std::string& controller : sent.set->write_order)
    order += (order.empty() ? "" : ", then ") + controller;
  return text + "\nset\n" +
         labelled(page, "valid only", "together; the customer's checker demands all of them") +
         labelled(page, "write", order) +
         labelled(
             page, "in between",
             "the vehicle " + std::string(sent.set->drivable_between ? "may" : "must not") + " be driven");
}

JsonValue sent_json(const VehicleJob& job, const SentTogether& sent) {
  const std::vector<std::string> order = sent.set ? sent.set->write_order : std::vector<std::string>();
  return json_object(
      {{"calseal", json("job-send/1")},
       {"job", json(job.facts.job)},
       {"set", json(sent.set ? digest_text(compute_sha256(view_of(write_set(*sent.set)))) : "")},
       {"write_order", json_strings(order)},
       {"revisions", json_array(sent.parts, part_json)}});
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

JsonValue carried_base_json(const NewBase& made) {
  return json_object(
      {{"calseal", json("job-carry/1")},
       {"job", json(made.sealed.manifest.job)},
       {"controller", json(made.sealed.manifest.controller().name)},
       {"base", json(made.number)},
       {"reason", json(made.sealed.manifest.base_reason)},
       {"identity", json_digest(made.sealed.digest)},
       {"bundle", json(made.bundle)},
       {"options", json_array(made.options, [&](const CarriedFile& option) {
          JsonValue value = json_object(
              {{"option", json(option.name)}, {"fits", json(option.fits())}, {"file", json(option.file)}});
          if (option.problem) {
            value.members.emplace_back("problem", json_error(*option.problem));
          } else {
            value.members.emplace_back("carried", carried_json(made.from, made.to, option.carried));
          }
          return value;
        })}});
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
       {"passed_over", json_array(made.passed_over, [](std::uint64_t number) { return json(number); })}});
}

namespace {

std::string measures_text(const LogFacts& log, const Page& page) {
  if (!log.unread.empty()) {
    return labelled(page, "measured", "no: " + log.unread, Mark::kCaution) +
           labelled(page, "hint",
                    "to have it measured, say how to read it: --time-column, --time-unit, --separator; it is "
                    "kept either way");
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
