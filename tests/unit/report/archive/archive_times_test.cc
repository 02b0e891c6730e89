#include "calseal/report/archive/archive_times.h"

#include <gmock/gmock.h>

#include "calseal/report/archive/audit_page.h"

namespace calseal {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

Sha256 digest(std::uint8_t first) {
  Sha256 value;
  value.bytes[0] = first;
  return value;
}

UtcTime at(const char* text) { return *parse_time(text); }

FileFacts bundle(const std::string& path, std::uint8_t identity, const std::string& time) {
  FileFacts facts;
  facts.path = path;
  facts.kind = FileKind::kBundle;
  facts.revision = RevisionClaim{};
  facts.revision->identity = digest(identity);
  facts.revision->job = "oak-17";
  facts.revision->controller = "engine";
  facts.revision->claimed_time = time;
  return facts;
}

LedgerSeal seal(std::uint64_t index, std::uint8_t identity, const char* time) {
  return {index, digest(identity), "oak-17", "engine", 1, index, index + 1, at(time)};
}

// Three revisions in a ledger with one head over the first two, one bundle that no ledger knows.
AuditRecord record() {
  AuditRecord record;
  record.files.push_back(bundle("a/r0.calseal", 1, "2020-01-30T00:00:00Z"));
  record.files.push_back(bundle("a/r9.calseal", 9, "2021-12-31T23:59:59Z"));
  FileFacts ledger;
  ledger.path = "ledger/entries.jsonl";
  ledger.kind = FileKind::kLedgerEntries;
  ledger.ledger = LedgerClaim{};
  ledger.ledger->seals = {seal(0, 1, "2020-01-30T00:00:00Z"), seal(1, 2, "2020-02-01T00:00:00Z"),
                          seal(2, 3, "2020-02-02T00:00:00Z")};
  ledger.ledger->witnesses = {{2, Witness::kHead, at("2020-02-01T12:00:00Z")}};
  record.files.push_back(ledger);
  record.scope.files = record.files.size();
  return record;
}

Finding finding(FindingCode code, const std::string& path) {
  Finding finding;
  finding.code = code;
  finding.path = path;
  return finding;
}

TEST(ArchiveTimes, RevisionsAreCountedOnceInTheMonthThatTheyClaim) {
  const ArchiveTimes times = archive_times(record(), Judgement{});
  EXPECT_EQ(times.revisions, 4u);
  EXPECT_EQ(times.newest, "2021-12-31T23:59:59Z");
  ASSERT_EQ(times.months.size(), 3u);
  EXPECT_EQ(times.months[0].year, 2020u);
  EXPECT_EQ(times.months[0].month, 1u);
  EXPECT_EQ(times.months[0].witnessed, 1u);
  EXPECT_EQ(times.months[1].month, 2u);
  EXPECT_EQ(times.months[1].witnessed, 1u);
  EXPECT_EQ(times.months[1].unwitnessed, 1u);
  EXPECT_EQ(times.months[2].year, 2021u);
  EXPECT_EQ(times.months[2].month, 12u);
  EXPECT_EQ(times.months[2].unwitnessed, 1u);
}

TEST(ArchiveTimes, TheFirstHeadThatHoldsAnEntryWitnessesIt) {
  AuditRecord seen = record();
  const ArchiveTimes times = archive_times(seen, Judgement{});
  EXPECT_EQ(times.by_witness[static_cast<std::size_t>(Witness::kHead)], 2u);
  EXPECT_EQ(times.by_witness[static_cast<std::size_t>(Witness::kNobody)], 2u);
  EXPECT_EQ(times.by_lag[static_cast<std::size_t>(WitnessLag::kDay)], 1u);   // the second
  EXPECT_EQ(times.by_lag[static_cast<std::size_t>(WitnessLag::kWeek)], 1u);  // the first
  // A later head that holds more changes nothing for those; a token over it is better evidence for all.
  std::vector<LedgerWitness>& witnesses = seen.files.back().ledger->witnesses;
  witnesses.push_back({3, Witness::kHead, at("2020-03-01T00:00:00Z")});
  EXPECT_EQ(archive_times(seen, Judgement{}).by_lag[static_cast<std::size_t>(WitnessLag::kMonth)], 1u);
  EXPECT_EQ(archive_times(seen, Judgement{}).by_lag[static_cast<std::size_t>(WitnessLag::kDay)], 1u);
  witnesses.push_back({3, Witness::kToken, at("2020-04-01T00:00:00Z")});
  const ArchiveTimes stamped = archive_times(seen, Judgement{});
  EXPECT_EQ(stamped.by_witness[static_cast<std::size_t>(Witness::kToken)], 3u);
  EXPECT_EQ(stamped.by_lag[static_cast<std::size_t>(WitnessLag::kLater)], 3u);
}

TEST(ArchiveTimes, AHeadBeforeTheClaimedTimeIsTold) {
  AuditRecord seen = record();
  seen.files.back().ledger->witnesses = {{3, Witness::kHead, at("2020-01-31T00:00:00Z")}};
  const ArchiveTimes times = archive_times(seen, Judgement{});
  EXPECT_EQ(times.by_lag[static_cast<std::size_t>(WitnessLag::kBefore)], 2u);
  Judgement judgement;
  EXPECT_THAT(audit_html({&seen, &judgement, "calseal"}), HasSubstr("a clock that ran ahead"));
}

TEST(ArchiveTimes, FindingsStandInTheMonthOfTheirRevision) {
  Judgement judgement;
  judgement.findings.push_back(finding(FindingCode::kBundleDamaged, "a/r0.calseal"));
  Finding missing = finding(FindingCode::kMissing, "a/r1.calseal");
  missing.wanted = WantedFile{WantedFile::By::kIdentity, "a/r1.calseal", digest(2), FileKind::kBundle, {}};
  judgement.findings.push_back(missing);
  judgement.findings.push_back(finding(FindingCode::kRolesMissing, "a/r9.calseal"));
  judgement.findings.push_back(finding(FindingCode::kFileChanged, "a/log.txt"));
  judgement.findings.push_back(finding(FindingCode::kNoLedger, ""));  // a note
  Finding gone = finding(FindingCode::kBundleDamaged, "a/r9.calseal");
  gone.age = FindingAge::kGone;
  judgement.findings.push_back(gone);
  const ArchiveTimes times = archive_times(record(), judgement);
  EXPECT_EQ(times.months[0].errors, 1u);
  EXPECT_EQ(times.months[1].errors, 1u);
  EXPECT_EQ(times.months[2].errors, 0u);
  EXPECT_EQ(times.months[2].warnings, 1u);
  EXPECT_EQ(times.undated, 1u);
}

TEST(ArchiveTimes, ADamagedBundleIsFoundByWhatItsBeginningSays) {
  AuditRecord seen = record();
  seen.files[0].revision.reset();
  seen.files[0].hint = BundleHint{"oak-17", 1, 2, 3};
  Judgement judgement;
  judgement.findings.push_back(finding(FindingCode::kBundleDamaged, "a/r0.calseal"));
  EXPECT_EQ(archive_times(seen, judgement).months[1].errors, 1u);
  // Two controllers have such a revision: nobody can tell which it is.
  LedgerSeal other = seal(2, 8, "2020-05-01T00:00:00Z");
  other.index = 3;
  other.controller = "transmission";
  seen.files.back().ledger->seals.push_back(other);
  EXPECT_EQ(archive_times(seen, judgement).undated, 1u);
}

TEST(AuditPage, AnArchiveWithoutAnythingIsAPage) {
  const AuditRecord nothing;
  const Judgement judgement;
  const std::string page = audit_html({&nothing, &judgement, "calseal"});
  EXPECT_THAT(page, HasSubstr("CLEAN AS STORED"));
  EXPECT_THAT(page, Not(HasSubstr("class=\"calendar\"")));
}

TEST(AuditPage, SaysWhatIsNotProved) {
  AuditRecord seen = record();
  Judgement judgement;
  judgement.scope.depth = seen.scope.depth = Depth::kStored;
  EXPECT_THAT(audit_html({&seen, &judgement, ""}), HasSubstr("does not prove that revisions stay within"));
  judgement.whole = false;
  EXPECT_THAT(audit_html({&seen, &judgement, ""}), HasSubstr("STOPPED ON THE WAY"));
  EXPECT_EQ(audit_words(judgement), "stopped on the way");
  judgement.whole = true;
  judgement.scope.depth = seen.scope.depth = Depth::kProved;
  EXPECT_THAT(audit_html({&seen, &judgement, ""}), HasSubstr(">CLEAN<"));
  judgement.findings.push_back(finding(FindingCode::kRolesMissing, "a/r9.calseal"));
  EXPECT_EQ(audit_words(judgement), "1 warning");
}

}  // namespace
}  // namespace calseal
