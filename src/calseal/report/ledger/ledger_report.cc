#include "calseal/report/ledger/ledger_report.h"

#include <algorithm>
#include <array>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {
namespace {

std::string detail_state_text(DetailState state) {
  constexpr std::array<std::string_view, 5> kWords{"present", "erased on request", "missing", "damaged",
                                                   "differs"};
  return std::string(kWords[static_cast<std::size_t>(state)]);
}

std::string detail_state_code(DetailState state) {
  return state == DetailState::kErased ? "erased" : detail_state_text(state);
}

std::string facts_text(const LedgerFacts& facts) {
  if (facts.kind == EntryKind::kErased) return subject_text(facts);
  std::string text = facts.job + ", " + facts.controller + ", " + subject_text(facts);
  if (!facts.words.empty()) text += " (" + printable(facts.words) + ")";
  return text;
}

std::string witness_text(const LedgerReport::Time& time) {
  switch (time.by) {
    case Witness::kNobody:
      return "not in any head yet";
    case Witness::kHead:
      return "in a head of " + time.time;
    case Witness::kPinned:
      return "in a head that the root pinned by " + time.time;
    case Witness::kToken:
      return "before " + time.time + " by a time-stamp authority";
  }
  return "";
}

}  // namespace

namespace {

std::string entries_words(const LedgerFinding& finding) {
  if (!finding.index) return "";
  if (!finding.last) return ", entry " + grouped(*finding.index);
  return ", entries " + grouped(*finding.index) + " to " + grouped(*finding.last);
}

}  // namespace

JsonValue tree_head_json(const TreeHead& head) {
  return json_object({{"size", json(head.size)}, {"root_hash", json_digest(head.root_hash)}});
}

std::string tree_head_text(const TreeHead& head) {
  return counted(head.size, "entry", "entries") + ", " + digest_text(head.root_hash);
}

JsonValue ledger_finding_json(const LedgerFinding& finding) {
  return json_object({{"code", json(ledger_fault_name(finding.fault))},
                      {"caution", json(is_ledger_caution(finding.fault))},
                      {"file", json(finding.file)},
                      {"entry", json(finding.index ? std::to_string(*finding.index) : std::string())},
                      {"last_entry", json(finding.last ? std::to_string(*finding.last) : std::string())},
                      {"text", json(finding.text)},
                      {"next", json(finding.next)}});
}

std::string ledger_report_text(const LedgerReport& report, bool signatures_judged, const Page& page) {
  std::string text = "ledger " + report.folder + "\n";
  text += labelled(page, "id", digest_text(report.id));
  text += labelled(page, "head", tree_head_text(report.head));
  std::string kinds;
  for (const auto& [kind, count] : report.kinds)
    kinds += (kinds.empty() ? "" : ", ") + grouped(count) + " " + kind;
  if (!kinds.empty()) text += labelled(page, "entries", kinds);
  if (report.erased != 0)
    text +=
        labelled(page, "erased", "details of " + counted(report.erased, "entry", "entries") + ", on request");
  std::uint64_t holds = 0, tokens = 0;
  for (const JudgedHead& judged : report.heads) {
    holds += judged.holds ? 1 : 0;
    tokens += judged.token_time ? 1 : 0;
    if (!judged.kept_here)
      text += labelled(page, judged.holds ? "holds" : "contradicts",
                       judged.file + ": " + counted(judged.head.tree.size, "entry", "entries") + ", " +
                           judged.head.claimed_time + " (claimed)",
                       judged.holds ? Mark::kGood : Mark::kBad);
  }
  text += labelled(page, "heads",
                   grouped(holds) + " of " + grouped(report.heads.size()) + " hold" +
                       (tokens == 0 ? "" : ", " + grouped(tokens) + " with a time stamp that holds"));
  if (!signatures_judged)
    text += labelled(page, "caution", "no trust file was given: whose the heads are was not judged",
                     Mark::kCaution);
  for (const LedgerFinding& finding : report.findings) {
    const bool caution = is_ledger_caution(finding.fault);
    text += labelled(page, caution ? "caution" : "finding",
                     std::string(ledger_fault_name(finding.fault)) + " in " + finding.file +
                         entries_words(finding) + ": " + finding.text + ". " + finding.next,
                     caution ? Mark::kCaution : Mark::kBad);
  }
  text += report.clean()
              ? labelled(page, "verified", "every entry, from the first to the last", Mark::kGood)
              : labelled(page, "not clean", "do not sign a head of it before this is explained", Mark::kBad);
  return text;
}

JsonValue ledger_report_json(const LedgerReport& report, bool signatures_judged) {
  JsonValue kinds = JsonValue{};
  for (const auto& [kind, count] : report.kinds) kinds.members.emplace_back(kind, json(count));
  return json_object({{"calseal", json("ledger-verify/1")},
                      {"ledger", json(report.folder)},
                      {"id", json_digest(report.id)},
                      {"clean", json(report.clean())},
                      {"signatures_judged", json(signatures_judged)},
                      {"head", tree_head_json(report.head)},
                      {"acknowledged", json(report.acknowledged)},
                      {"erased", json(report.erased)},
                      {"kinds", kinds},
                      {"heads", json_array(report.heads,
                                           [](const JudgedHead& judged) {
                                             return json_object(
                                                 {{"file", json(judged.file)},
                                                  {"head", tree_head_json(judged.head.tree)},
                                                  {"claimed_time", json(judged.head.claimed_time)},
                                                  {"kept_here", json(judged.kept_here)},
                                                  {"holds", json(judged.holds)},
                                                  {"token_time", json(judged.token_time.value_or(""))}});
                                           })},
                      {"findings", json_array(report.findings, ledger_finding_json)}});
}

std::string ledger_record_text(const LedgerRecord& record, const LedgerReport::Time& time) {
  std::string text = std::to_string(record.index) + "  ";
  text += record.entry ? record.entry->claimed_time + "  " + std::string(entry_kind_name(record.entry->kind))
                       : std::string("unreadable");
  text += "  " + (record.detail_state == DetailState::kPresent
                      ? facts_text(record.detail.facts)
                      : "details " + detail_state_text(record.detail_state));
  return text + "; " + witness_text(time) + "\n";
}

JsonValue ledger_record_json(const LedgerRecord& record, const LedgerReport::Time& time) {
  JsonValue value =
      json_object({{"entry", json(record.index)},
                   {"kind", json(record.entry ? std::string(entry_kind_name(record.entry->kind)) : "")},
                   {"claimed_time", json(record.entry ? record.entry->claimed_time : "")},
                   {"witnessed_by", json(witness_name(time.by))},
                   {"witnessed_time", json(time.time)},
                   {"details", json(detail_state_code(record.detail_state))}});
  if (record.detail_state == DetailState::kPresent)
    value.members.emplace_back("facts", record_json(record.detail.facts, ledger_facts_fields));
  return value;
}

}  // namespace calseal
