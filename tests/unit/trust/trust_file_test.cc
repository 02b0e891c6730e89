#include "calseal/trust/trust_file.h"

#include <gtest/gtest.h>

#include <functional>

#include "calseal/base/text.h"
#include "calseal/trust/spoken_code.h"
#include "calseal/trust/statement.h"
#include "support/matchers.h"
#include "support/test_keys.h"

namespace calseal {
namespace {

Result<TrustFile> parse(std::string_view file, std::string_view stated = "") {
  return parse_trust_file(view_of(file), stated, "t");
}

std::string sealed(const TrustFile& trust) { return signed_by(write_trust_text(trust), {1}); }

TrustFile full_trust() {
  TrustFile trust = sample_trust();
  trust.next_root = TestKey(9).id();
  trust.ledger_heads = {{3, TestKey(7).id()}, {90, Sha256{}}};
  trust.threshold = 2;
  TrustedKey& author = key_of(trust, 2);
  author.roles = {Role::kAuthor, Role::kLedger, Role::kMapAuthor, Role::kReviewer, Role::kWithdrawal};
  author.jobs = {"job-1", "job-7"};
  author.controllers = {"engine"};
  author.region_maps = {Sha256{}};
  author.valid_until = "2027-01-01T00:00:00Z";
  key_of(trust, 3).compromised = true;
  return trust;
}

TEST(TrustFile, ReadsBackAsWritten) {
  EXPECT_THAT(parse(sealed(sample_trust())), IsOkAnd(sample_trust()));
  EXPECT_THAT(parse(sealed(full_trust())), IsOkAnd(full_trust()));
  TrustFile empty = sample_trust();
  empty.keys.clear();
  EXPECT_THAT(parse(sealed(empty)), IsOkAnd(empty));
}

TEST(TrustFile, TextIsInTheOrderOfTheFormat) {
  TrustFile trust = full_trust();
  trust.keys = {key_of(trust, 3)};
  EXPECT_EQ(write_trust_text(trust),
            R"({"calseal":"trust/1","version":4,"shop":"Sample shop","root":")" + to_hex(trust.root.bytes) +
                R"(","claimed_time":"2026-01-02T03:04:05Z","next_root":")" + digest_text(TestKey(9).id()) +
                R"(","ledger_heads":[{"size":3,"root_hash":")" + digest_text(TestKey(7).id()) +
                R"("},{"size":90,"root_hash":")" + std::string(64, '0') +
                R"("}],"policy":{"threshold":2},"keys":[{"id":")" + digest_text(TestKey(3).id()) +
                R"(","public_key":")" + to_hex(TestKey(3).public_key().bytes) +
                R"(","name":"Reviewer","roles":["reviewer"],"jobs":[],"controllers":[],"region_maps":[],)"
                R"("valid_from":"2026-01-01T00:00:00Z","valid_until":"","state":"compromised"}]})");
}

TEST(TrustFile, AsManyHeadsAsMayBe) {
  TrustFile trust = full_trust();
  trust.ledger_heads.clear();
  for (std::uint64_t size = 1; size <= kLedgerHeadLimit; ++size)
    trust.ledger_heads.push_back({size, Sha256{}});
  EXPECT_THAT(parse(sealed(trust)), IsOkAnd(trust));
}

TEST(TrustFile, OnlyItsRootSignsIt) {
  const std::string text = write_trust_text(sample_trust());
  EXPECT_THAT(parse(signed_by(text, {2})), FailsWith(Reason::kTrustInvalid, "line 2"));
  EXPECT_THAT(parse(signed_by(text, {1, 2})), FailsWith(Reason::kTrustInvalid));
  PrefixSignature other = TestKey(2).sign(view_of(text));
  other.key_id = TestKey(1).id();
  EXPECT_THAT(parse(write_statement(text, {other})), FailsWith(Reason::kTrustInvalid, "line 2"));
  EXPECT_THAT(parse(write_statement(text, {TestKey(1).sign(view_of(text + "\n"))})),
              FailsWith(Reason::kTrustInvalid));
}

TEST(TrustFile, StatedRoot) {
  const std::string file = sealed(sample_trust());
  const KeyId id = TestKey(1).id();
  EXPECT_THAT(parse(file, digest_text(id)), IsOk());
  EXPECT_THAT(parse(file, spoken_code(Spoken::kKey, id)), IsOk());
  EXPECT_THAT(parse(file, digest_text(TestKey(2).id())), FailsWith(Reason::kRootMismatch));
  EXPECT_THAT(parse(file, spoken_code(Spoken::kKey, TestKey(2).id())), FailsWith(Reason::kRootMismatch));
  EXPECT_THAT(parse(file, "my root"), FailsWith(Reason::kRootMismatch));
  EXPECT_THAT(parse(file, " "), FailsWith(Reason::kRootMismatch));
  EXPECT_THAT(parse(file, spoken_code(Spoken::kRevision, id)), FailsWith(Reason::kRootMismatch));
}

// What counts as separators is the same around a key id as in a code, and nothing else is left out.
TEST(TrustFile, StatedRootAsItIsTyped) {
  const std::string file = sealed(sample_trust());
  const std::string id = digest_text(TestKey(1).id());
  std::string code = spoken_code(Spoken::kKey, TestKey(1).id());
  EXPECT_THAT(parse(file, " \u2003" + id + ".\r\n"), IsOk());
  EXPECT_THAT(parse(file, "\ufeff" + id), FailsWith(Reason::kRootMismatch));
  EXPECT_THAT(parse(file, id.substr(0, 32) + " " + id.substr(32)), FailsWith(Reason::kRootMismatch));
  code[0] = 'k';
  std::replace(code.begin(), code.end(), ' ', '.');
  EXPECT_THAT(parse(file, "\t" + code + "\u2029"), IsOk());
  EXPECT_THAT(parse(file, code + "\u200b"), FailsWith(Reason::kRootMismatch));
}

TEST(TrustFile, ARefusedRootSaysWhichGroupIsWrong) {
  const std::string file = sealed(sample_trust());
  const auto expected = [&file](const std::string& stated) { return parse(file, stated).error().expected; };
  const std::string code = spoken_code(Spoken::kKey, TestKey(1).id());
  std::string misheard = code;
  misheard[8] = misheard[8] == '0' ? '1' : '0';
  EXPECT_EQ(expected(misheard), "\"" + misheard + "\": group 2 does not fit its check digit");
  Sha256 near = TestKey(1).id();
  near.bytes[15] ^= 1;
  EXPECT_EQ(expected(spoken_code(Spoken::kKey, near)),
            spoken_code(Spoken::kKey, near) + ": group 13 differs");
  EXPECT_THAT(
      expected(spoken_code(Spoken::kReceipt, near)),
      ::testing::HasSubstr("this is a receipt's code (letter Q), not a root's or other key's (letter K)"));
}

TEST(TrustFile, EveryBitFlipAndTruncationIsRefused) {
  std::string file = sealed(sample_trust());
  for (std::size_t at = 0; at < file.size(); ++at) {
    EXPECT_FALSE(parse(file.substr(0, at)).has_value()) << at;
    for (int bit = 0; bit < 8; ++bit) {
      file[at] = static_cast<char>(file[at] ^ (1 << bit));
      const auto parsed = parse(file);
      file[at] = static_cast<char>(file[at] ^ (1 << bit));
      ASSERT_FALSE(parsed.has_value()) << at;
      const Reason wanted = at < kTrustLiteral.size() ? Reason::kTypeWrong : Reason::kTrustInvalid;
      ASSERT_EQ(code(parsed.error().reason), code(wanted)) << at;
    }
  }
  EXPECT_THAT(parse(file + "\n"), FailsWith(Reason::kTrustInvalid));
  EXPECT_THAT(parse(file + file), FailsWith(Reason::kTrustInvalid));
}

TEST(TrustFile, SizeIsBounded) {
  EXPECT_THAT(parse_trust_file(Bytes(kTrustFileSizeLimit + 1, 'x'), "", "t"),
              FailsWith(Reason::kFileTooLarge));
}

struct BentTrust {
  const char* name;
  Reason reason;
  std::function<void(TrustFile&)> bend;
};

class TrustConsistency : public ::testing::TestWithParam<BentTrust> {};

TEST_P(TrustConsistency, IsRefusedThoughSigned) {
  TrustFile trust = full_trust();
  GetParam().bend(trust);
  EXPECT_THAT(parse(sealed(trust)), FailsWith(GetParam().reason));
}

const BentTrust kBentTrust[] = {
    {"version_zero", Reason::kTrustInvalid, [](TrustFile& t) { t.version = 0; }},
    {"threshold_zero", Reason::kTrustInvalid, [](TrustFile& t) { t.threshold = 0; }},
    {"threshold_nine", Reason::kTrustInvalid, [](TrustFile& t) { t.threshold = 9; }},
    {"shop_of_two_lines", Reason::kTrustInvalid, [](TrustFile& t) { t.shop = "a\nb"; }},
    {"time", Reason::kTrustInvalid, [](TrustFile& t) { t.claimed_time = "today"; }},
    {"keys_out_of_order", Reason::kTrustInvalid, [](TrustFile& t) { std::swap(t.keys[0], t.keys[1]); }},
    {"key_twice", Reason::kTrustInvalid, [](TrustFile& t) { t.keys[1] = t.keys[0]; }},
    {"id_of_another_key", Reason::kTrustInvalid,
     [](TrustFile& t) { t.keys[0].public_key = TestKey(8).public_key(); }},
    {"no_role", Reason::kTrustInvalid, [](TrustFile& t) { t.keys[0].roles.clear(); }},
    {"roles_out_of_order", Reason::kTrustInvalid,
     [](TrustFile& t) {
       t.keys[0].roles = {Role::kReviewer, Role::kAuthor};
     }},
    {"role_twice", Reason::kTrustInvalid,
     [](TrustFile& t) {
       t.keys[0].roles = {Role::kAuthor, Role::kAuthor};
     }},
    {"jobs_out_of_order", Reason::kTrustInvalid,
     [](TrustFile& t) {
       key_of(t, 2).jobs = {"b", "a"};
     }},
    {"controller_twice", Reason::kTrustInvalid,
     [](TrustFile& t) {
       key_of(t, 2).controllers = {"a", "a"};
     }},
    {"region_map_twice", Reason::kTrustInvalid,
     [](TrustFile& t) {
       key_of(t, 2).region_maps = {Sha256{}, Sha256{}};
     }},
    {"job_is_no_name", Reason::kTrustInvalid, [](TrustFile& t) { key_of(t, 2).jobs = {"Job 7"}; }},
    {"valid_until_its_beginning", Reason::kTrustInvalid,
     [](TrustFile& t) { key_of(t, 2).valid_until = key_of(t, 2).valid_from; }},
    {"weak_key", Reason::kKeyWeak, [](TrustFile& t) { t.keys[0].public_key = PublicKey{}; }},
    {"root_among_keys", Reason::kTrustInvalid,
     [](TrustFile& t) { t.keys = {trusted(TestKey(1), "Root", {Role::kAuthor})}; }},
    {"head_of_nothing", Reason::kTrustInvalid, [](TrustFile& t) { t.ledger_heads[0].size = 0; }},
    {"heads_out_of_order", Reason::kTrustInvalid,
     [](TrustFile& t) { std::swap(t.ledger_heads[0], t.ledger_heads[1]); }},
    {"two_heads_of_one_size", Reason::kTrustInvalid, [](TrustFile& t) { t.ledger_heads[1].size = 3; }},
    {"too_many_heads", Reason::kTrustInvalid,
     [](TrustFile& t) {
       for (std::uint64_t size = 91; t.ledger_heads.size() <= kLedgerHeadLimit; ++size)
         t.ledger_heads.push_back({size, Sha256{}});
     }},
    {"too_many_keys", Reason::kTrustInvalid, [](TrustFile& t) { t.keys.assign(65, t.keys[0]); }},
};

INSTANTIATE_TEST_SUITE_P(Table, TrustConsistency, ::testing::ValuesIn(kBentTrust),
                         [](const auto& one) { return std::string(one.param.name); });

TEST(TrustFile, AWeakRootIsNamedBeforeItsSignatureCounts) {
  TrustFile trust = sample_trust();
  trust.root = PublicKey{};
  trust.root.bytes[0] = 1;
  EXPECT_THAT(parse(sealed(trust)), FailsWith(Reason::kKeyWeak));
}

TEST(TrustFile, SignedButNotCanonicalIsRefused) {
  std::string text = write_trust_text(sample_trust());
  text.insert(text.find("\"shop\""), " ");
  EXPECT_THAT(parse(signed_by(text, {1})), FailsWith(Reason::kTrustInvalid));
}

Result<Statement> read(std::string_view file) {
  return read_statement(view_of(file), "{\"x\"", 5000, Reason::kTrustInvalid, "s");
}

TEST(Statement, ReadsBackAsWritten) {
  std::vector<PrefixSignature> signatures;
  for (std::uint8_t i = 0; i < 8; ++i) {
    PrefixSignature signature;
    signature.key_id.bytes.fill(static_cast<std::uint8_t>(0x80 - i));
    signature.signature.fill(i);
    signatures.push_back(signature);
  }
  const std::string file = write_statement("{\"x\":1}", signatures);
  const auto statement = read(file);
  ASSERT_THAT(statement, IsOk());
  EXPECT_EQ(text_of(statement->signed_bytes), "{\"x\":1}");
  std::reverse(signatures.begin(), signatures.end());
  EXPECT_EQ(statement->signatures, signatures);
  EXPECT_EQ(write_statement(text_of(statement->signed_bytes), statement->signatures), file);
}

TEST(Statement, FaultsHaveTheirReasons) {
  const std::string line = std::string(64, 'a') + " " + std::string(128, 'b') + "\n";
  EXPECT_THAT(read("{\"x\":1}\n" + line), IsOk());
  EXPECT_THAT(read("{\"y\":1}\n" + line), FailsWith(Reason::kTypeWrong));
  EXPECT_THAT(read(std::string(5001, ' ')), FailsWith(Reason::kFileTooLarge));
  EXPECT_THAT(read("{\"x\":1}"), FailsWith(Reason::kTrustInvalid, "line 1"));
  EXPECT_THAT(read("{\"x\":1}\n"), FailsWith(Reason::kTrustInvalid, "line 2"));
  EXPECT_THAT(read("{\"x\":1}\n" + line + line), FailsWith(Reason::kTrustInvalid, "line 3"));
  EXPECT_THAT(read("{\"x\":1}\n" + line + "\n"), FailsWith(Reason::kTrustInvalid, "line 3"));
  EXPECT_THAT(read("{\"x\":1}\n" + line.substr(0, 193)), FailsWith(Reason::kTrustInvalid, "line 2"));
  EXPECT_THAT(read("{\"x\":1}\r\n" + line.substr(0, 193) + "\r\n"),
              FailsWith(Reason::kTrustInvalid, "line 2"));
  std::string upper = line;
  upper[0] = 'A';
  EXPECT_THAT(read("{\"x\":1}\n" + upper), FailsWith(Reason::kTrustInvalid, "line 2"));
  std::string nine = "{\"x\":1}\n";
  for (int i = 1; i <= 9; ++i)
    nine += std::string(64, static_cast<char>('0' + i)) + " " + std::string(128, 'b') + "\n";
  EXPECT_THAT(read(nine), FailsWith(Reason::kTrustInvalid, "line 10"));
  EXPECT_THAT(read(nine.substr(0, nine.size() - 194)), IsOk());
}

}  // namespace
}  // namespace calseal
