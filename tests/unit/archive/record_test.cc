// What an audit writes down: read back as it was, and never taken for whole when it is torn or bent.
#include "calseal/archive/record.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <functional>

#include "calseal/archive/journal.h"
#include "facts_sample.h"
#include "support/matchers.h"
#include "support/outside_tools.h"
#include "support/random.h"

namespace calseal {
namespace {

// Every field of facts is used somewhere.
AuditRecord full_record() {
  FactsSample sample;
  sample.scope.unreadable = {"locked"};
  sample.scope.links = {"a\nlink", "\xff"};
  sample.scope.others = {"pipe"};
  RevisionClaim& claim = *sample.at("oak/base-1/r1.calseal").revision;
  claim.set = digest_of("set");
  claim.signers = {digest_of("key"), digest_of("other key")};
  claim.incomplete = true;
  claim.members = {{"engine", 1, 2, claim.map, claim.pinned}, {"gearbox", 2, 5, claim.map, claim.pinned}};
  FileFacts& damaged = sample.add("\xfe damaged %.calseal", FileKind::kBundle);
  damaged.fault = Error{Reason::kContentDigest, "", "byte 7", "\"quoted\"\n", "what was sealed", "look"};
  damaged.hint = BundleHint{"oak-17", 1, 4, 7};
  damaged.proof = Proof::kFailed;
  sample.add("unread", FileKind::kUnknown).digest.reset();
  LedgerClaim& ledger = *sample.at("ledger/entries.jsonl").ledger;
  ledger.head = {2, digest_of("head")};
  ledger.erased = 1;
  ledger.witnesses = {{1, Witness::kHead, {1'700'000'000}}, {2, Witness::kPinned, {1'700'000'100}}};
  ledger.findings = {{LedgerFault::kTorn, "ledger/entries.jsonl", std::nullopt, "half a line", "nothing"},
                     {LedgerFault::kDetailMissing, "ledger/details.jsonl", 1, "none", "put it back"}};
  sample.at("oak/events.jsonl").continues = true;
  sample.at("oak/events.jsonl").job->broken_lines = 3;
  sample.at("notes.txt").continues = false;
  return sample.record();
}

TEST(Record, ComesBackAsItWas) {
  AuditRecord record = full_record();
  for (const bool whole : {true, false}) {
    record.whole = whole;
    const std::string text = write_record(record);
    const auto read = parse_record(text, "a.record");
    ASSERT_THAT(read, IsOk());
    EXPECT_EQ(read->scope, record.scope);
    EXPECT_EQ(read->files, record.files);
    EXPECT_EQ(read->whole, whole);
    EXPECT_EQ(write_record(*read), text);
  }
}

TEST(Record, FindsFilesByPath) {
  const AuditRecord record = full_record();
  for (const FileFacts& facts : record.files) EXPECT_EQ(record.find(facts.path), &facts);
  EXPECT_EQ(record.find("oak"), nullptr);
  EXPECT_EQ(record.find(""), nullptr);
  EXPECT_EQ(AuditRecord().find("a"), nullptr);
}

TEST(Record, CutAnywhereIsNeverWhole) {
  const AuditRecord record = full_record();
  const std::string text = write_record(record);
  const std::size_t first_line = text.find('\n') + 1;
  for (std::size_t size = 0; size < text.size(); ++size) {
    const auto read = parse_record(std::string_view(text).substr(0, size), "a.record");
    if (size < first_line) {
      EXPECT_THAT(read, FailsWith(Reason::kAuditRecordInvalid)) << size;
      continue;
    }
    ASSERT_THAT(read, IsOk()) << size;
    EXPECT_FALSE(read->whole) << size;
    ASSERT_LE(read->files.size(), record.files.size());
    for (std::size_t i = 0; i + 1 < read->files.size(); ++i) EXPECT_EQ(read->files[i], record.files[i]);
  }
}

TEST(Record, WithAnyBitFlippedIsNeverWhole) {
  const std::string text = write_record(full_record());
  Random random;
  const std::uint64_t rounds = 4000;
  for (std::uint64_t round = 0; round < rounds; ++round) {
    std::string bent = text;
    // The last line bit by bit, the rest at random.
    const std::size_t last = text.rfind('\n', text.size() - 2) + 1;
    const std::size_t at = round / 8 < text.size() - last ? last + round / 8 : random.between(0, last - 1);
    bent[at] = static_cast<char>(bent[at] ^ (1 << (round % 8)));
    const auto read = parse_record(bent, "a.record");
    EXPECT_FALSE(read && read->whole) << at;
    if (!read) {
      EXPECT_EQ(read.error().reason, Reason::kAuditRecordInvalid) << at;
    }
  }
}

TEST(Record, WithLinesTakenOutAddedOrSwappedIsRefused) {
  const std::string text = write_record(full_record());
  std::vector<std::string> lines;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = text.find('\n', at);
    lines.push_back(text.substr(at, end + 1 - at));
    at = end + 1;
  }
  const auto joined = [](const std::vector<std::string>& all) {
    std::string one;
    for (const std::string& line : all) one += line;
    return one;
  };
  for (std::size_t i = 0; i + 1 < lines.size(); ++i) {
    std::vector<std::string> fewer = lines;
    fewer.erase(fewer.begin() + static_cast<std::ptrdiff_t>(i));
    EXPECT_THAT(parse_record(joined(fewer), "a.record"), FailsWith(Reason::kAuditRecordInvalid)) << i;
    std::vector<std::string> more = lines;
    more.insert(more.begin() + static_cast<std::ptrdiff_t>(i), lines[i]);
    EXPECT_THAT(parse_record(joined(more), "a.record"), FailsWith(Reason::kAuditRecordInvalid)) << i;
    std::vector<std::string> swapped = lines;
    std::swap(swapped[i], swapped[i + 1]);
    EXPECT_THAT(parse_record(joined(swapped), "a.record"), FailsWith(Reason::kAuditRecordInvalid)) << i;
  }
  EXPECT_THAT(parse_record(text + "\n", "a.record"), FailsWith(Reason::kAuditRecordInvalid));
  EXPECT_THAT(parse_record(text + lines[1], "a.record"), FailsWith(Reason::kAuditRecordInvalid));
}

TEST(Record, RefusesWhatIsNoRecord) {
  const std::string scope = write_scope(full_record().scope) + "\n";
  const std::string fact = write_facts(full_record().files.front()).front();
  for (const std::string& text : {
           std::string(),
           std::string("\n"),
           std::string("{}\n"),
           std::string("\0\n", 2),
           fact + "\n",
           scope + "\n",
           scope + "{}\n",
           scope + scope,
           scope + R"({"ledger_seal":{}})"
                   "\n",
           scope + R"({"file":"%zz","size":1,"kind":"unknown","digest":null})"
                   "\n",
           scope + R"({"file":"a","size":1,"kind":"spoon","digest":null})"
                   "\n",
           scope + R"({"file":"a","size":-1,"kind":"unknown","digest":null})"
                   "\n",
           scope + R"({"file":"a","size":1,"kind":"unknown","digest":null,"more":1})"
                   "\n",
           scope + R"({"end":0,"digest":null})"
                   "\n",
           scope + std::string(100'000, '[') + "\n",
       })
    EXPECT_THAT(parse_record(text, "a.record"), FailsWith(Reason::kAuditRecordInvalid))
        << text.substr(0, 900);
}

TEST(JoinRecords, OfAllPartsIsTheRecordOfOneRun) {
  const AuditRecord whole = full_record();
  Random random;
  for (std::uint64_t of = 1; of <= 9; ++of) {
    std::vector<AuditRecord> parts(of);
    for (std::uint64_t i = 0; i < of; ++i) {
      parts[i].scope = whole.scope;
      parts[i].scope.part = {i + 1, of};
    }
    for (const FileFacts& facts : whole.files) parts[part_of_name(facts.path, of) - 1].files.push_back(facts);
    std::rotate(parts.begin(), parts.begin() + static_cast<std::ptrdiff_t>(random.between(0, of - 1)),
                parts.end());
    const auto joined = join_records(parts);
    ASSERT_THAT(joined, IsOk());
    EXPECT_EQ(write_record(*joined), write_record(whole));
  }
}

TEST(JoinRecords, RefusesWhatDoesNotBelongTogether) {
  const AuditRecord whole = full_record();
  std::vector<AuditRecord> parts(3);
  for (std::uint64_t i = 0; i < 3; ++i) {
    parts[i].scope = whole.scope;
    parts[i].scope.part = {i + 1, 3};
  }
  for (const FileFacts& facts : whole.files) parts[part_of_name(facts.path, 3) - 1].files.push_back(facts);
  ASSERT_THAT(join_records(parts), IsOk());

  EXPECT_THAT(join_records({}), FailsWith(Reason::kAuditRecordOther));
  const std::pair<const char*, std::function<void(std::vector<AuditRecord>&)>> changes[] = {
      {"one is missing", [](auto& all) { all.pop_back(); }},
      {"one is there twice", [](auto& all) { all[2] = all[1]; }},
      {"one too many", [](auto& all) { all.push_back(all[1]); }},
      {"one was cut off", [](auto& all) { all[1].whole = false; }},
      {"another depth", [](auto& all) { all[1].scope.depth = Depth::kStored; }},
      {"another trust file", [](auto& all) { all[1].scope.trust = digest_of("other"); }},
      {"other roots", [](auto& all) { all[1].scope.roots.clear(); }},
      {"another tree", [](auto& all) { all[1].scope.survey = digest_of("other"); }},
      {"other folders", [](auto& all) { all[1].scope.folders = {"elsewhere"}; }},
      {"of another number of parts", [](auto& all) { all[1].scope.part.of = 4; }},
      {"a file was lost", [](auto& all) { (all[0].files.empty() ? all[1] : all[0]).files.pop_back(); }},
      {"a file twice",
       [](auto& all) {
         auto& from = all[0].files.empty() ? all[1] : all[0];
         all[2].files.push_back(from.files.front());
         from.files.erase(from.files.begin());
         all[2].files.push_back(all[2].files.back());
       }},
  };
  for (const auto& [name, change] : changes) {
    std::vector<AuditRecord> bent = parts;
    change(bent);
    EXPECT_THAT(join_records(bent), FailsWith(Reason::kAuditRecordOther)) << name;
  }
}

class Journal : public ::testing::Test {
 protected:
  Journal() {
    record = full_record();
    survey.folders = record.scope.folders;
    std::int64_t number = 0;
    for (const FileFacts& facts : record.files) {
      SurveyedFile file;
      file.path = facts.path;
      file.kind = facts.kind;
      ++number;
      file.status = {static_cast<std::int64_t>(facts.size), -number, number, number << 40};
      survey.files.push_back(file);
    }
    path = scratch.path("run.journal");
  }

  // A run that got as far as all files.
  void write() {
    auto journal = AuditJournal::begin(path, record.scope, survey, {});
    ASSERT_THAT(journal, IsOk());
    for (std::size_t i = 0; i < survey.files.size(); ++i)
      ASSERT_THAT(journal->note({&survey.files[i]}, {record.files[i]}), IsOk());
    ASSERT_THAT(journal->flush(true), IsOk());
  }

  // How many files it says something of, each as it was; the ledger's entries never.
  std::size_t seen(const std::string& text) {
    scratch.put("read.journal", view_of(text));
    auto read = read_journal(scratch.path("read.journal"), record.scope);
    EXPECT_THAT(read, IsOk());
    if (!read) return 0;
    std::size_t count = 0;
    for (std::size_t i = 0; i < survey.files.size(); ++i) {
      const auto facts = read->take({&survey.files[i]});
      if (facts.empty()) continue;
      EXPECT_EQ(facts.front(), record.files[i]);
      EXPECT_NE(facts.front().kind, FileKind::kLedgerEntries);
      ++count;
    }
    return count;
  }

  ScratchFolder scratch;
  AuditRecord record;
  Survey survey;
  std::string path;
};

TEST_F(Journal, SaysOfEveryFileWhatWasSeen) {
  write();
  EXPECT_EQ(seen(scratch.text("run.journal")), survey.files.size() - 1);
}

TEST_F(Journal, ThatIsNotThereSaysNothing) {
  auto read = read_journal(scratch.path("nothing"), record.scope);
  ASSERT_THAT(read, IsOk());
  EXPECT_TRUE(read->take({&survey.files[0]}).empty());
}

TEST_F(Journal, CutAnywhereSaysWhatWasWholeBefore) {
  write();
  const std::string text = scratch.text("run.journal");
  const std::size_t first_line = text.find('\n') + 1;
  std::size_t before = 0;
  for (std::size_t size = first_line; size <= text.size(); size += size % 97 + 1) {
    const std::size_t count = seen(text.substr(0, size));
    EXPECT_GE(count, before);
    before = count;
  }
  EXPECT_GT(before, 0u);
}

TEST_F(Journal, OfAFileThatChangedSinceSaysNothing) {
  write();
  auto read = read_journal(path, record.scope);
  ASSERT_THAT(read, IsOk());
  const SurveyedFile& file = survey.files.back();
  EXPECT_EQ(read->take({&file}).size(), 1u);
  for (std::int64_t FileStatus::*field :
       {&FileStatus::size, &FileStatus::modified, &FileStatus::changed, &FileStatus::inode}) {
    SurveyedFile changed = file;
    changed.status.*field += 1;
    EXPECT_TRUE(read->take({&changed}).empty());
    // All that are asked for, or none.
    EXPECT_TRUE(read->take({&survey.files.front(), &changed}).empty());
  }
  SurveyedFile unknown = file;
  unknown.path += "x";
  EXPECT_TRUE(read->take({&unknown}).empty());
}

TEST_F(Journal, OfAnotherAuditIsRefused) {
  write();
  for (const auto& change : std::vector<std::function<void(AuditScope&)>>{
           [](AuditScope& scope) { scope.folders.push_back("more"); },
           [](AuditScope& scope) { scope.depth = Depth::kStored; },
           [](AuditScope& scope) { scope.trust = digest_of("other"); },
           [](AuditScope& scope) {
             scope.part = {2, 3};
           }}) {
    AuditScope scope = record.scope;
    change(scope);
    EXPECT_THAT(read_journal(path, scope), FailsWith(Reason::kAuditRecordOther));
  }
  // The tree may have changed since: its files are looked at one by one.
  AuditScope scope = record.scope;
  scope.survey = digest_of("other");
  scope.files += 1;
  EXPECT_THAT(read_journal(path, scope), IsOk());
}

TEST_F(Journal, BentAnywhereIsRefusedOrReadWithoutHarm) {
  write();
  const std::string text = scratch.text("run.journal");
  Random random;
  for (int round = 0; round < 60; ++round) {
    std::string bent = text;
    for (std::uint64_t i = random.between(1, 4); i > 0; --i)
      bent[random.between(0, bent.size() - 1)] = static_cast<char>(random.between(0, 255));
    scratch.put("bent.journal", view_of(bent));
    const auto read = read_journal(scratch.path("bent.journal"), record.scope);
    if (read) continue;
    EXPECT_TRUE(read.error().reason == Reason::kAuditRecordInvalid ||
                read.error().reason == Reason::kAuditRecordOther)
        << code(read.error().reason);
  }
}

TEST_F(Journal, TakesOverWhatAnEarlierOneKnew) {
  const std::vector<FileFacts> known(record.files.end() - 2, record.files.end());
  ASSERT_THAT(AuditJournal::begin(path, record.scope, survey, known), IsOk());
  EXPECT_EQ(seen(scratch.text("run.journal")), 2u);
}

TEST_F(Journal, ReadsAsARecordThatIsNotWhole) {
  write();
  const auto read = parse_record(scratch.text("run.journal"), "run.journal");
  ASSERT_THAT(read, IsOk());
  EXPECT_FALSE(read->whole);
  EXPECT_EQ(read->files, record.files);
}

}  // namespace
}  // namespace calseal
