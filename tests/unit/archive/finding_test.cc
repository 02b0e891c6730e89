// The closed list of findings, and findings as programs read them.
#include "calseal/archive/finding.h"

#include <gtest/gtest.h>

#include <set>

#include "calseal/archive/finding_json.h"
#include "calseal/base/json_write.h"
#include "facts_sample.h"
#include "support/matchers.h"

namespace calseal {
namespace {

TEST(Findings, AreAClosedListOfStableNames) {
  std::set<std::string_view> names;
  for (std::size_t i = 0; i < all_findings().size(); ++i) {
    const FindingInfo& row = all_findings()[i];
    EXPECT_EQ(static_cast<std::size_t>(row.code), i);
    EXPECT_EQ(&info(row.code), &row);
    EXPECT_EQ(find_finding(row.name), row.code);
    EXPECT_TRUE(names.insert(row.name).second) << row.name;
    EXPECT_EQ(row.name.find_first_not_of("abcdefghijklmnopqrstuvwxyz-"), std::string_view::npos) << row.name;
    EXPECT_TRUE(row.meaning.ends_with('.')) << row.name;
    EXPECT_TRUE(row.next.ends_with('.')) << row.name;
  }
  EXPECT_EQ(find_finding("nothing"), std::nullopt);
  EXPECT_EQ(find_finding(""), std::nullopt);
}

// judge_ledgers.cc counts on one order of both lists.
TEST(Findings, HaveARowForEachFaultOfALedger) {
  const auto first = static_cast<std::size_t>(FindingCode::kLedgerEntryUnreadable);
  for (std::size_t i = 0; i <= static_cast<std::size_t>(LedgerFault::kEnteredLate); ++i) {
    const auto fault = static_cast<LedgerFault>(i);
    const FindingInfo& row = all_findings()[first + i];
    EXPECT_EQ(row.name, "ledger-" + std::string(ledger_fault_name(fault)));
    EXPECT_EQ(row.severity, is_ledger_caution(fault) ? Severity::kWarning : Severity::kError) << row.name;
  }
}

Judgement sample_judgement() {
  FactsSample sample;
  sample.scope.unreadable = {"\xff locked"};
  sample.scope.links = {"away"};
  sample.files.erase("oak/base-1/r1.calseal");
  sample.at("shop.trust").fault = Error{Reason::kJsonValue, "", "byte 7", "\"x\"", "a name", "look"};
  return judge_record(sample.record(), nullptr);
}

std::string as_lines(const Judgement& judgement) {
  std::string text = canonical_json(judgement_json(judgement, false)) + "\n";
  for (const Finding& finding : judgement.findings) text += canonical_json(finding_json(finding)) + "\n";
  return text;
}

TEST(AuditReport, ComesBackFromOneObjectAndFromLines) {
  const Judgement judgement = sample_judgement();
  ASSERT_EQ(judgement.findings.size(), 4u);
  for (const std::string& text :
       {canonical_json(judgement_json(judgement, true)),
        canonical_json(judgement_json(judgement, true)) + "\n", as_lines(judgement)}) {
    const auto read = parse_audit_report(text, "a.jsonl");
    ASSERT_THAT(read, IsOk());
    ASSERT_EQ(read->size(), judgement.findings.size());
    for (std::size_t i = 0; i < read->size(); ++i) {
      EXPECT_TRUE(is_same_finding((*read)[i], judgement.findings[i]));
      EXPECT_EQ((*read)[i].text, judgement.findings[i].text);
    }
    Judgement again = sample_judgement();
    compare_findings(again, *read);
    for (const Finding& finding : again.findings) EXPECT_EQ(finding.age, FindingAge::kStill);
  }
}

TEST(AuditReport, CutAnywhereIsRefused) {
  const Judgement judgement = sample_judgement();
  const std::string object = canonical_json(judgement_json(judgement, true));
  const std::string lines = as_lines(judgement);
  for (const std::string& text : {object, lines}) {
    // Without its last line end it is still all there.
    const std::size_t least = text.ends_with('\n') ? text.size() - 1 : text.size();
    for (std::size_t size = 0; size < least; ++size) {
      EXPECT_THAT(parse_audit_report(std::string_view(text).substr(0, size), "a.jsonl"),
                  FailsWith(Reason::kAuditRecordInvalid))
          << size;
    }
  }
}

TEST(AuditReport, KnowsWhatWasGone) {
  Judgement judgement = judge_record(FactsSample().record(), nullptr);
  compare_findings(judgement, sample_judgement().findings);
  const auto read = parse_audit_report(as_lines(judgement), "a.jsonl");
  ASSERT_THAT(read, IsOk());
  ASSERT_EQ(read->size(), 4u);
  for (const Finding& finding : *read) EXPECT_EQ(finding.age, FindingAge::kGone);
}

TEST(AuditReport, RefusesWhatIsNone) {
  const std::string first = canonical_json(judgement_json(sample_judgement(), false)) + "\n";
  const std::string finding = canonical_json(finding_json(sample_judgement().findings[0])) + "\n";
  std::string unknown = finding;
  const std::string_view name = info(sample_judgement().findings[0].code).name;
  unknown.replace(unknown.find(name), name.size(), "made-up");
  for (const std::string& text : {std::string("{}"), std::string("[]"), finding, first + first, first + "\n",
                                  first + "{}\n", first + unknown, std::string(100'000, '{')})
    EXPECT_THAT(parse_audit_report(text, "a.jsonl"), FailsWith(Reason::kAuditRecordInvalid))
        << text.substr(0, 80);
}

}  // namespace
}  // namespace calseal
