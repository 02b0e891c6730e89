// A ledger in a folder: appended to, judged, and tampered with in every way that its page names.
#include "calseal/ledger/ledger.h"

#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/file.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <set>

#include "calseal/base/file.h"
#include "calseal/ledger/append.h"
#include "calseal/ledger/erase.h"
#include "calseal/ledger/head.h"
#include "calseal/ledger/layout.h"
#include "calseal/ledger/lock.h"
#include "calseal/ledger/merkle.h"
#include "calseal/ledger/tip.h"
#include "support/matchers.h"
#include "support/outside_tools.h"
#include "support/random.h"
#include "support/small_job.h"

namespace calseal {
namespace {

Sha256 revision_number(int number) { return compute_sha256(view_of("revision " + std::to_string(number))); }

NewEntry entry(int number, EntryKind kind = EntryKind::kSealed, const std::string& words = "",
               const std::string& job = "oak-17") {
  NewEntry made;
  made.facts.about = revision_number(number);
  made.facts.kind = kind;
  made.facts.claimed_time =
      "2026-03-04T05:06:" + std::string(number % 60 < 10 ? "0" : "") + std::to_string(number % 60) + "Z";
  made.facts.job = job;
  made.facts.controller = "engine";
  made.facts.base = 1;
  made.facts.revision = static_cast<std::uint64_t>(number);
  made.facts.sequence = static_cast<std::uint64_t>(number) + 1;
  made.facts.words = words;
  return made;
}

class LedgerFolder : public ::testing::Test {
 protected:
  LedgerFolder() {
    trust = small.trust;
    trust.keys.push_back(small_trusted(ledger_key, "Ledger", Role::kLedger));
    std::ranges::sort(trust.keys, {}, &TrustedKey::id);
    folder = scratch.path("ledger");
    const auto made = create_ledger(folder);
    EXPECT_THAT(made, IsOk());
    if (made) id = *made;
  }

  void append(int first, int last) {
    std::vector<NewEntry> entries;
    for (int i = first; i <= last; ++i) entries.push_back(entry(i));
    ASSERT_THAT(append_entries(folder, entries), IsOk());
  }
  SignedHead sign(const std::string& time = "2026-03-04T06:00:00Z") {
    const auto made = sign_head(folder, keys, trust, *parse_time(time));
    EXPECT_THAT(made, IsOk());
    return made ? made->head : SignedHead{};
  }
  GivenHead head_signed(const std::string& time = "2026-03-04T06:00:00Z") {
    const auto made = sign_head(folder, keys, trust, *parse_time(time));
    EXPECT_THAT(made, IsOk());
    return {{"kept.head", made ? Bytes(made->text.begin(), made->text.end()) : Bytes()}, std::nullopt};
  }
  LedgerReport verify(std::vector<GivenHead> heads = {}) {
    LedgerQuestion question;
    question.trust = &trust;
    question.heads = std::move(heads);
    auto report = verify_ledger(folder, question);
    EXPECT_THAT(report, IsOk());
    return report ? *std::move(report) : LedgerReport{};
  }
  std::set<std::string> faults(std::vector<GivenHead> heads = {}) {
    std::set<std::string> codes;
    for (const LedgerFinding& finding : verify(std::move(heads)).findings) {
      EXPECT_FALSE(finding.text.empty());
      EXPECT_FALSE(finding.next.empty());
      EXPECT_FALSE(finding.file.empty());
      codes.insert(std::string(ledger_fault_name(finding.fault)));
    }
    return codes;
  }
  std::string path(std::string_view file) const { return folder + "/" + std::string(file); }
  std::string text(std::string_view file) const {
    const auto bytes = read_file(path(file), 1 << 26);
    return bytes ? std::string(text_of(*bytes)) : std::string();
  }
  void put(std::string_view file, const std::string& bytes) const {
    std::ofstream(path(file), std::ios::binary | std::ios::trunc) << bytes;
  }
  std::vector<std::string> lines(std::string_view file) const {
    std::vector<std::string> all;
    std::string line;
    for (const char c : text(file)) {
      line.push_back(c);
      if (c == '\n') {
        all.push_back(line);
        line.clear();
      }
    }
    return all;
  }
  static std::string joined(const std::vector<std::string>& all) {
    std::string out;
    for (const std::string& line : all) out += line;
    return out;
  }
  // A tip that fits the entries as they are: what somebody writes who covers his tracks.
  void mend_tip() const {
    std::filesystem::remove(path(kTipFile));
    MerkleFrontier frontier;
    const auto all = lines(kEntriesFile);
    for (std::size_t i = 1; i < all.size(); ++i)
      frontier.append(merkle_leaf_hash(view_of(std::string_view(all[i]).substr(0, all[i].size() - 1))));
    put(kTipFile, write_ledger_tip({id, frontier.size(), joined(all).size(), frontier.peaks()}));
  }

  ScratchFolder scratch;
  SmallJob small;
  PrivateKey ledger_key = small_key(6);
  SigningKeys keys{ledger_key};
  TrustFile trust;
  std::string folder;
  Sha256 id;
};

TEST_F(LedgerFolder, AnEmptyOne) {
  const LedgerReport report = verify();
  EXPECT_TRUE(report.clean());
  EXPECT_EQ(report.id, id);
  EXPECT_EQ(report.head, (TreeHead{0, compute_sha256({})}));
  EXPECT_THAT(create_ledger(folder), FailsWith(Reason::kOutputExists));
  EXPECT_THAT(sign_head(folder, keys, trust, small.time), FailsWith(Reason::kNotInLedger));
  EXPECT_THAT(verify_ledger(folder + "-2", {}), FailsWith(Reason::kFileMissing));
}

TEST_F(LedgerFolder, HoldsWhatWasAppended) {
  const auto appended =
      append_entries(folder, {entry(0), entry(1), entry(1, EntryKind::kSent, "mail"), entry(2)});
  ASSERT_THAT(appended, IsOk());
  ASSERT_EQ(appended->entries.size(), 4U);
  for (std::size_t i = 0; i < 4; ++i) {
    EXPECT_EQ(appended->entries[i].index, i);
    EXPECT_FALSE(appended->entries[i].was_there);
  }
  std::vector<LedgerFacts> said;
  LedgerQuestion question;
  question.on_record = [&](const LedgerRecord& record) { said.push_back(record.detail.facts); };
  const auto report = verify_ledger(path(kEntriesFile), question);
  ASSERT_THAT(report, IsOk());
  EXPECT_TRUE(report->clean());
  EXPECT_EQ(report->head, appended->head);
  EXPECT_EQ(report->acknowledged, 4U);
  EXPECT_EQ(report->kinds, (std::map<std::string, std::uint64_t>{{"sealed", 3}, {"sent", 1}}));
  EXPECT_EQ(said.size(), 4U);
  const LedgerFacts sent = entry(1, EntryKind::kSent, "mail").facts;
  EXPECT_EQ(std::count(said.begin(), said.end(), sent), 1);
}

TEST_F(LedgerFolder, TheSameThingOnce) {
  NewEntry sent = entry(1, EntryKind::kSent, "mail");
  sent.same_at_any_time = true;
  ASSERT_THAT(append_entries(folder, {entry(1), sent}), IsOk());
  NewEntry later = sent;
  later.facts.claimed_time = "2026-05-01T00:00:00Z";
  const auto again = append_entries(folder, {entry(1), later, entry(2), entry(2)});
  ASSERT_THAT(again, IsOk());
  EXPECT_TRUE(again->entries[0].was_there);
  EXPECT_TRUE(again->entries[1].was_there);
  EXPECT_EQ(again->entries[1].index, 1U);
  EXPECT_FALSE(again->entries[2].was_there);
  EXPECT_TRUE(again->entries[3].was_there);
  EXPECT_EQ(again->entries[3].index, 2U);
  EXPECT_EQ(again->head.size, 3U);
  // Said with its time, another time is another event; so are other words.
  later.same_at_any_time = false;
  NewEntry by_stick = sent;
  by_stick.facts.words = "stick";
  const auto more = append_entries(folder, {later, by_stick});
  ASSERT_THAT(more, IsOk());
  EXPECT_EQ(more->head.size, 5U);
}

TEST_F(LedgerFolder, EntriesUnderAnotherName) {
  append(0, 3);
  put("copy", text(kEntriesFile));
  const TreeHead four = verify().head;
  append(4, 4);
  const auto report = verify_ledger(path("copy"), {});
  ASSERT_THAT(report, IsOk());
  EXPECT_EQ(report->head, four);
  EXPECT_TRUE(report->counts.contains("entries-missing"));
}

TEST_F(LedgerFolder, WhatCannotBeReadIsNotWritten) {
  NewEntry bad = entry(1);
  bad.facts.words = "two\nlines";
  EXPECT_THAT(append_entries(folder, {bad}), FailsWith(Reason::kUsage));
  bad = entry(1);
  bad.facts.claimed_time = "yesterday";
  EXPECT_THAT(append_entries(folder, {entry(0), bad}), FailsWith(Reason::kUsage));
  EXPECT_EQ(verify().head.size, 0U);
}

TEST_F(LedgerFolder, GivesTheSameRootHoweverItGrew) {
  Random random;
  for (int i = 0; i < 40;) {
    const int count = static_cast<int>(random.between(1, 7));
    append(i, i + count - 1);
    i += count;
    const auto tip = read_ledger_tip(folder);
    ASSERT_THAT(tip, IsOk());
    EXPECT_EQ(verify().head, MerkleFrontier::restore(tip->size, tip->peaks)->head());
  }
  EXPECT_TRUE(verify().clean());
}

// --- heads and proofs
// --------------------------------------------------------------------------------------------

TEST_F(LedgerFolder, HeadsAreSignedAndKept) {
  append(0, 4);
  const SignedHead head = sign();
  EXPECT_EQ(head.tree, verify().head);
  EXPECT_EQ(head.ledger, id);
  EXPECT_EQ(sign("2026-03-05T00:00:00Z"), head) << "nothing new: the head that is kept";
  append(5, 9);
  EXPECT_EQ(sign("2026-03-05T00:00:00Z").tree.size, 10U);
  const LedgerReport report = verify();
  EXPECT_TRUE(report.clean());
  ASSERT_EQ(report.heads.size(), 2U);
  EXPECT_TRUE(report.heads[0].holds && report.heads[1].holds && report.heads[0].kept_here);
  const SigningKeys author{small.author};
  append(10, 10);
  EXPECT_THAT(sign_head(folder, author, trust, small.time), FailsWith(Reason::kRolesMissing));
}

TEST_F(LedgerFolder, ProofsHoldWithoutTheLedger) {
  append(0, 6);
  const TreeHead seven = sign().tree;
  append(7, 20);
  const TreeHead all = sign("2026-03-05T00:00:00Z").tree;
  for (int i = 0; i <= 20; ++i) {
    const auto proof = prove_inclusion(folder, revision_number(i), std::nullopt);
    ASSERT_THAT(proof, IsOk());
    EXPECT_THAT(check_inclusion(*proof, revision_number(i), {all}, "p"), IsOk());
    EXPECT_THAT(check_inclusion(*proof, revision_number(i + 1), {all}, "p"),
                FailsWith(Reason::kInclusionInvalid));
    const auto early = prove_inclusion(folder, revision_number(i), seven);
    if (i <= 6) {
      ASSERT_THAT(early, IsOk());
      EXPECT_THAT(check_inclusion(*early, revision_number(i), {seven}, "p"), IsOk());
    } else {
      EXPECT_THAT(early, FailsWith(Reason::kNotInLedger));
    }
  }
  EXPECT_THAT(prove_inclusion(folder, revision_number(99), std::nullopt), FailsWith(Reason::kNotInLedger));
  EXPECT_THAT(prove_inclusion(folder, revision_number(1), TreeHead{7, Sha256{}}),
              FailsWith(Reason::kLedgerRewritten));
  const auto proof = prove_consistency(folder, seven, all);
  ASSERT_THAT(proof, IsOk());
  EXPECT_THAT(check_consistency_proof(*proof, seven, all, "p"), IsOk());
  EXPECT_THAT(prove_consistency(folder, all, seven), FailsWith(Reason::kUsage));
  // One reading gives every proof that readings of their own give.
  const auto prover = LedgerProver::read(folder, {revision_number(2), revision_number(9)});
  ASSERT_THAT(prover, IsOk());
  for (const int i : {2, 9}) {
    const auto one = prover->inclusion(revision_number(i), all);
    ASSERT_THAT(one, IsOk());
    EXPECT_EQ(write_inclusion(*one), write_inclusion(*prove_inclusion(folder, revision_number(i), all)));
  }
  EXPECT_THAT(prover->inclusion(revision_number(9), seven), FailsWith(Reason::kNotInLedger));
  EXPECT_THAT(prover->inclusion(revision_number(3), all), FailsWith(Reason::kNotInLedger));
  EXPECT_EQ(write_consistency(*prover->consistency(seven, all)), write_consistency(*proof));
  EXPECT_THAT(prove_consistency(folder, seven, {22, Sha256{}}), FailsWith(Reason::kNotInLedger));
  EXPECT_THAT(prove_consistency(folder, {6, Sha256{}}, all), FailsWith(Reason::kLedgerRewritten));
}

// Whoever rewrites the ledger and covers his tracks there is found by one head that somebody kept.
TEST_F(LedgerFolder, AnOlderHeadFindsEveryRewriting) {
  append(0, 7);
  const GivenHead kept = head_signed();
  append(8, 11);
  std::filesystem::remove_all(path(kHeadsFolder));
  std::filesystem::create_directory(path(kHeadsFolder));
  ASSERT_TRUE(faults({kept}).empty());
  const auto entries = lines(kEntriesFile);
  const auto details = lines(kDetailsFile);
  const auto rewrite = [&](const std::vector<std::string>& changed, const std::vector<std::string>& beside) {
    put(kEntriesFile, joined(changed));
    put(kDetailsFile, joined(beside));
    mend_tip();
    const auto found = faults({kept});
    put(kEntriesFile, joined(entries));
    put(kDetailsFile, joined(details));
    mend_tip();
    return found;
  };
  for (std::size_t at = 1; at <= 8; ++at) {
    auto removed = entries;
    removed.erase(removed.begin() + static_cast<std::ptrdiff_t>(at));
    EXPECT_TRUE(rewrite(removed, details).contains("head-rewritten")) << "removed " << at;
    auto moved = entries;
    std::swap(moved[at], moved[at + 1]);
    EXPECT_TRUE(rewrite(moved, details).contains("head-rewritten")) << "moved " << at;
    // An earlier time, and details that fit it.
    auto dated = entries;
    auto fitting = details;
    const std::size_t time = dated[at].find("2026-03-04");
    dated[at].replace(time, 4, "2025");
    fitting[at - 1].replace(fitting[at - 1].find("2026-03-04"), 4, "2025");
    EXPECT_TRUE(rewrite(dated, fitting).contains("head-rewritten")) << "back-dated " << at;
    auto edited = entries;
    char& digit = edited[at][edited[at].size() - 5];
    digit = digit == '0' ? '1' : '0';
    EXPECT_TRUE(rewrite(edited, details).contains("head-rewritten")) << "edited " << at;
    auto inserted = entries;
    inserted.insert(inserted.begin() + static_cast<std::ptrdiff_t>(at), entries[9]);
    EXPECT_TRUE(rewrite(inserted, details).contains("head-rewritten")) << "inserted " << at;
  }
  // Only the end is gone: fewer entries than the head says.
  EXPECT_TRUE(rewrite({entries.begin(), entries.begin() + 8}, {details.begin(), details.begin() + 7})
                  .contains("head-ahead"));
  // What came after the head is not its business.
  auto after = entries;
  std::swap(after[10], after[11]);
  EXPECT_FALSE(rewrite(after, details).contains("head-rewritten"));
  EXPECT_TRUE(faults({kept}).empty());
}

// Without a head the tip alone notices, as long as nobody mends it.
TEST_F(LedgerFolder, TheTipNotices) {
  append(0, 7);
  const auto entries = lines(kEntriesFile);
  auto changed = entries;
  changed.pop_back();
  put(kEntriesFile, joined(changed));
  EXPECT_TRUE(faults().contains("entries-missing"));
  EXPECT_THAT(append_entries(folder, {entry(9)}), FailsWith(Reason::kLedgerDamaged));
  EXPECT_THAT(sign_head(folder, keys, trust, small.time), FailsWith(Reason::kLedgerDamaged));
  changed = entries;
  std::swap(changed[2], changed[3]);
  put(kEntriesFile, joined(changed));
  EXPECT_TRUE(faults().contains("tip-differs"));
  put(kEntriesFile, joined(entries));
  EXPECT_TRUE(faults().empty());
  std::filesystem::remove(path(kTipFile));
  EXPECT_TRUE(faults().contains("tip-missing"));
  EXPECT_THAT(append_entries(folder, {entry(9)}), FailsWith(Reason::kFileMissing));
  EXPECT_THAT(repair_ledger(folder), IsOk());
  EXPECT_TRUE(faults().empty());
  EXPECT_THAT(append_entries(folder, {entry(9)}), IsOk());
}

// Entries that are missing leave details behind, which no writer left who was cut off.
TEST_F(LedgerFolder, DetailsOfMissingEntriesAreNotTorn) {
  append(0, 7);
  const auto entries = lines(kEntriesFile);
  auto changed = entries;
  changed[3].back() = ' ';  // the end of a line: two are one now
  put(kEntriesFile, joined(changed));
  EXPECT_TRUE(faults().contains("entries-missing"));
  EXPECT_TRUE(faults().contains("detail-stray"));
  EXPECT_FALSE(faults().contains("torn"));
}

TEST_F(LedgerFolder, NothingIsRepairedAgainstAHead) {
  append(0, 7);
  sign();
  auto entries = lines(kEntriesFile);
  entries.pop_back();
  put(kEntriesFile, joined(entries));
  std::filesystem::remove(path(kTipFile));
  EXPECT_THAT(repair_ledger(folder), FailsWith(Reason::kLedgerRewritten));
  mend_tip();
  EXPECT_THAT(sign_head(folder, keys, trust, small.time), FailsWith(Reason::kLedgerRewritten));
}

TEST_F(LedgerFolder, NothingIsSignedThatContradictsAnEarlierHead) {
  append(0, 7);
  sign();
  append(8, 9);
  const auto entries = lines(kEntriesFile);
  auto changed = entries;
  std::swap(changed[2], changed[3]);
  put(kEntriesFile, joined(changed));
  EXPECT_THAT(sign_head(folder, keys, trust, small.time), FailsWith(Reason::kLedgerRewritten))
      << "the head notices";
  mend_tip();
  EXPECT_THAT(sign_head(folder, keys, trust, small.time), FailsWith(Reason::kLedgerRewritten));
  changed = entries;
  std::swap(changed[9], changed[10]);
  put(kEntriesFile, joined(changed));
  EXPECT_THAT(sign_head(folder, keys, trust, small.time), FailsWith(Reason::kLedgerRewritten))
      << "the tip notices";
  put(kEntriesFile, joined(entries));
  mend_tip();
  EXPECT_EQ(sign("2026-03-05T00:00:00Z").tree.size, 10U);
}

TEST_F(LedgerFolder, EveryBitOfAnEntryCounts) {
  append(0, 2);
  const GivenHead kept = head_signed();
  const std::string entries = text(kEntriesFile);
  const std::size_t first = entries.find('\n') + 1;
  for (std::size_t at = 0; at < entries.size(); ++at) {
    std::string bent = entries;
    bent[at] = static_cast<char>(bent[at] ^ (1 << (at % 8)));
    put(kEntriesFile, bent);
    LedgerQuestion question;
    question.trust = &trust;
    question.heads = {kept};
    const auto report = verify_ledger(folder, question);
    if (at < first) {
      EXPECT_TRUE(!report || !report->clean()) << at;
    } else {
      ASSERT_THAT(report, IsOk());
      EXPECT_FALSE(report->clean()) << at;
      EXPECT_TRUE(report->counts.contains("head-rewritten") || report->counts.contains("head-ahead")) << at;
    }
  }
}

TEST_F(LedgerFolder, EveryBitOfTheDetailsCounts) {
  append(0, 1);
  const std::string details = text(kDetailsFile);
  for (std::size_t at = 0; at < details.size(); ++at) {
    std::string bent = details;
    bent[at] = static_cast<char>(bent[at] ^ (1 << (at % 8)));
    put(kDetailsFile, bent);
    EXPECT_FALSE(verify().clean()) << at;
    put(kDetailsFile, details.substr(0, at));
    EXPECT_TRUE(faults().contains("detail-missing")) << at;
  }
  put(kDetailsFile, details + details);
  EXPECT_TRUE(faults().contains("detail-stray"));
}

// Entries in a row with one fault are one finding; a list that ends says so.
TEST_F(LedgerFolder, FindingsStandTogetherAndNoneIsLeftOutInSilence) {
  append(0, 2 * kLedgerFindingLimit + 10);
  const auto details = lines(kDetailsFile);
  put(kDetailsFile, joined({details.begin(), details.begin() + 3}));
  const LedgerReport cut = verify();
  ASSERT_EQ(cut.findings.size(), 1u);
  EXPECT_EQ(cut.findings[0].index, 3u);
  EXPECT_EQ(cut.findings[0].last, details.size() - 1);
  EXPECT_EQ(cut.counts.at("detail-missing"), details.size() - 3);

  std::vector<std::string> every_second;
  for (std::size_t i = 0; i < details.size(); i += 2) every_second.push_back(details[i]);
  put(kDetailsFile, joined(every_second));
  const LedgerReport thinned = verify();
  ASSERT_EQ(thinned.findings.size(), kLedgerFindingLimit);
  EXPECT_EQ(thinned.counts.at("detail-missing"), kLedgerFindingLimit + 5);
  EXPECT_NE(thinned.findings.back().text.find("; 5 more of this kind are not listed"), std::string::npos);
  EXPECT_EQ(thinned.findings.front().text.find("not listed"), std::string::npos);
}

TEST_F(LedgerFolder, HeadsThatNobodyHasToBelieve) {
  append(0, 3);
  GivenHead kept = head_signed();
  kept.head.bytes[kept.head.bytes.size() - 3] ^= 1;
  EXPECT_TRUE(faults({kept}).contains("head-invalid"));
  ScratchFolder other_scratch;
  const std::string other = other_scratch.path("other");
  ASSERT_THAT(create_ledger(other), IsOk());
  ASSERT_THAT(append_entries(other, {entry(0), entry(1)}), IsOk());
  const auto foreign = sign_head(other, keys, trust, small.time);
  ASSERT_THAT(foreign, IsOk());
  EXPECT_EQ(faults({{{"o.head", Bytes(foreign->text.begin(), foreign->text.end())}, std::nullopt}}),
            (std::set<std::string>{"head-of-another"}));
}

TEST_F(LedgerFolder, APinnedHeadOutlivesItsKey) {
  append(0, 3);
  const SignedHead head = sign();
  for (TrustedKey& key : trust.keys) {
    if (key.id == ledger_key.id()) key.compromised = true;
  }
  EXPECT_TRUE(faults().contains("head-invalid"));
  trust.ledger_heads = {head.tree};
  EXPECT_TRUE(faults().empty());
  const LedgerReport report = verify();
  EXPECT_EQ(report.witnessed(3).by, Witness::kPinned);
  EXPECT_EQ(report.witnessed(4).by, Witness::kNobody);
  trust.ledger_heads = {{2, Sha256{}}, {9, Sha256{}}};
  const auto found = faults();
  EXPECT_TRUE(found.contains("head-rewritten") && found.contains("head-ahead"));
}

TEST_F(LedgerFolder, ASealThatIsEnteredLateIsSaid) {
  append(0, 3);
  sign("2026-03-20T00:00:00Z");
  append(4, 4);  // claims a time two weeks before a head that does not hold it
  EXPECT_EQ(faults(), (std::set<std::string>{"entered-late"}));
  EXPECT_TRUE(verify().clean()) << "a caution";
}

// --- writers that were cut off
// ---------------------------------------------------------------------------------

// Whatever part of one append reached the disk, in the order in which it is written: what was acknowledged
// before is there, and the next append goes on.
TEST_F(LedgerFolder, EveryTornTail) {
  append(0, 2);
  const std::string entries = text(kEntriesFile), details = text(kDetailsFile), tip = text(kTipFile);
  append(3, 4);
  const std::string more_entries = text(kEntriesFile), more_details = text(kDetailsFile);
  const auto attempt = [&](const std::string& e, const std::string& d) {
    put(kEntriesFile, e);
    put(kDetailsFile, d);
    put(kTipFile, tip);
    for (const LedgerFinding& finding : verify().findings) {
      EXPECT_TRUE(is_ledger_caution(finding.fault))
          << ledger_fault_name(finding.fault) << " " << e.size() << " " << d.size();
    }
    const auto appended = append_entries(folder, {entry(3), entry(4), entry(5)});
    ASSERT_THAT(appended, IsOk());
    EXPECT_EQ(appended->head.size, 6U);
    EXPECT_TRUE(faults().empty());
    EXPECT_EQ(text(kEntriesFile).substr(0, entries.size()), entries);
    EXPECT_EQ(lines(kDetailsFile).size(), 6U);
  };
  for (std::size_t at = details.size(); at <= more_details.size(); at += 41)
    attempt(entries, more_details.substr(0, at));
  for (std::size_t at = entries.size(); at <= more_entries.size(); at += 3)
    attempt(more_entries.substr(0, at), more_details);
  attempt(more_entries.substr(0, entries.size() + 20) + std::string(300, '\0'), more_details);
  attempt(more_entries.substr(0, entries.size() + 20) + "\n" + std::string(30, 'x') + "\n", more_details);
}

TEST_F(LedgerFolder, AWriterWaitsAndGivesUp) {
  append(0, 0);
  const int fd = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY);
  ASSERT_EQ(::flock(fd, LOCK_EX), 0);
  const auto lock = FolderLock::take(folder, kLedgerFolder, 0);
  EXPECT_THAT(lock, FailsWith(Reason::kLedgerBusy));
  ::close(fd);
  const auto free = FolderLock::take(folder, kLedgerFolder, 0);
  ASSERT_THAT(free, IsOk());
  EXPECT_TRUE(free->keeps_others_out(folder));
  EXPECT_FALSE(free->keeps_others_out(scratch.path("")));
}

// --- erasing
// ---------------------------------------------------------------------------------------------------

TEST_F(LedgerFolder, ErasedOnRequestAndNotMissing) {
  ASSERT_THAT(append_entries(folder, {entry(0), entry(1), entry(10, EntryKind::kSealed, "", "elm-3"),
                                      entry(1, EntryKind::kSent, "mail to a name")}),
              IsOk());
  const SignedHead before = sign();
  const auto erased = erase_job(folder, "oak-17", small.time);
  ASSERT_THAT(erased, IsOk());
  EXPECT_EQ(erased->entries, (std::vector<std::uint64_t>{0, 1, 3}));
  EXPECT_EQ(erased->said_by, 4U);
  const LedgerReport report = verify();
  EXPECT_TRUE(report.findings.empty());
  EXPECT_EQ(report.erased, 3U);
  EXPECT_EQ(report.head.size, 5U);
  EXPECT_TRUE(report.heads.at(0).holds) << "the entries stay as they were";
  EXPECT_EQ(report.heads.at(0).head, before);
  for (const std::string_view file : {kEntriesFile, kDetailsFile, kTipFile}) {
    EXPECT_EQ(text(file).find("oak-17"), std::string::npos) << file;
    EXPECT_EQ(text(file).find("mail to a name"), std::string::npos) << file;
    EXPECT_EQ(text(file).find(digest_text(revision_number(1))), std::string::npos) << file;
  }
  EXPECT_THAT(erase_job(folder, "oak-17", small.time), FailsWith(Reason::kNotInLedger));
  EXPECT_THAT(prove_inclusion(folder, revision_number(1), std::nullopt), FailsWith(Reason::kNotInLedger));
  EXPECT_THAT(prove_inclusion(folder, revision_number(10), std::nullopt), IsOk());
  append(20, 22);
  EXPECT_TRUE(faults().empty());
}

TEST_F(LedgerFolder, ErasingThatWasCutOffIsFinished) {
  append(0, 3);
  const std::string details = text(kDetailsFile);
  ASSERT_THAT(erase_job(folder, "oak-17", small.time), IsOk());
  const std::string erased = text(kDetailsFile);
  const std::string said = lines(kDetailsFile).back();
  put(kDetailsFile, details + said);
  EXPECT_EQ(faults(), (std::set<std::string>{"erasure-unfinished"}));
  ASSERT_THAT(erase_job(folder, "oak-17", small.time), IsOk());
  EXPECT_EQ(text(kDetailsFile), erased);
  EXPECT_TRUE(faults().empty());
}

TEST_F(LedgerFolder, DetailsTakenOutByAnotherHandAreFound) {
  append(0, 3);
  auto details = lines(kDetailsFile);
  details[1] = write_ledger_detail({1, {}, {}, 3}) + "\n";
  put(kDetailsFile, joined(details));
  EXPECT_EQ(faults(), (std::set<std::string>{"erasure-unknown"}));
  details = lines(kDetailsFile);
  details.erase(details.begin() + 1);
  put(kDetailsFile, joined(details));
  EXPECT_EQ(faults(), (std::set<std::string>{"detail-missing"}));
}

}  // namespace
}  // namespace calseal
