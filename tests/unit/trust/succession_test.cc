#include "calseal/trust/succession.h"

#include <gtest/gtest.h>

#include <functional>

#include "calseal/base/text.h"
#include "calseal/trust/spoken_code.h"
#include "support/matchers.h"
#include "support/sweep.h"
#include "support/test_keys.h"

namespace calseal {
namespace {

// The trust file of the root `root`, which announces `next` where that is given.
TrustFile trust_of(std::uint8_t root, std::optional<std::uint8_t> next = std::nullopt) {
  TrustFile trust = sample_trust();
  trust.root = TestKey(root).public_key();
  if (next) trust.next_root = TestKey(*next).id();
  return trust;
}

std::string trust_text(std::uint8_t root, std::optional<std::uint8_t> next = std::nullopt) {
  return signed_by(write_trust_text(trust_of(root, next)), {root});
}

Succession step(std::uint8_t from, std::uint8_t to) {
  Succession succession;
  succession.old_trust = trust_of(from, to);
  succession.old_trust_text = trust_text(from, to);
  succession.new_root = TestKey(to).public_key();
  succession.claimed_time = "2026-05-06T07:08:09Z";
  succession.reason = "the old stick wears out";
  return succession;
}

std::string sealed(const Succession& succession, const std::vector<std::uint8_t>& signers) {
  return signed_by(write_succession_text(succession), signers);
}

std::string sealed_step(std::uint8_t from, std::uint8_t to) { return sealed(step(from, to), {from, to}); }

Result<Succession> parse(std::string_view file) { return parse_succession(view_of(file), "s"); }

TEST(Succession, ReadsBackAsWritten) {
  const Succession wanted = step(11, 12);
  const auto parsed = parse(sealed_step(11, 12));
  ASSERT_THAT(parsed, IsOk());
  EXPECT_EQ(parsed->old_trust, wanted.old_trust);
  EXPECT_EQ(parsed->old_trust_text, wanted.old_trust_text);
  EXPECT_EQ(parsed->new_root, wanted.new_root);
  EXPECT_EQ(parsed->claimed_time, wanted.claimed_time);
  EXPECT_EQ(parsed->reason, wanted.reason);
}

TEST(Succession, TextIsInTheOrderOfTheFormat) {
  Succession succession = step(11, 12);
  succession.old_trust_text = "a\"b\n";
  EXPECT_EQ(write_succession_text(succession),
            R"({"calseal":"succession/1","old_trust":"a\"b\n","new_root":")" +
                to_hex(TestKey(12).public_key().bytes) +
                R"(","claimed_time":"2026-05-06T07:08:09Z","reason":"the old stick wears out"})");
}

TEST(Succession, EveryBitFlipAndTruncationIsRefused) {
  const auto reasons = sweep_damage(sealed_step(11, 12), [](const std::string& text) { return parse(text); });
  EXPECT_EQ(reasons, (std::set<std::string>{"succession-invalid", "type-wrong"}));
}

TEST(Succession, SizeIsBounded) {
  EXPECT_THAT(parse(std::string(kSuccessionSizeLimit + 1, 'x')), FailsWith(Reason::kFileTooLarge));
  EXPECT_THAT(parse(trust_text(11)), FailsWith(Reason::kTypeWrong));
}

TEST(Succession, BothRootsSignAndNobodyElse) {
  const Succession good = step(11, 12);
  for (const std::vector<std::uint8_t>& signers :
       std::vector<std::vector<std::uint8_t>>{{11}, {12}, {11, 2}, {12, 2}, {2, 3}, {11, 12, 2}})
    EXPECT_THAT(parse(sealed(good, signers)), FailsWith(Reason::kSuccessionInvalid, "signature"));
  // Each signature is by the key that its line names.
  const std::string text = write_succession_text(good);
  for (const std::uint8_t forged : Bytes{11, 12}) {
    PrefixSignature other = TestKey(2).sign(view_of(text));
    other.key_id = TestKey(forged).id();
    const std::uint8_t honest = forged == 11 ? 12 : 11;
    EXPECT_THAT(parse(write_statement(text, {other, TestKey(honest).sign(view_of(text))})),
                FailsWith(Reason::kSuccessionInvalid, digest_text(TestKey(forged).id())));
  }
}

TEST(Succession, OnlyToTheRootThatWasAnnounced) {
  Succession silent = step(11, 12);
  silent.old_trust_text = trust_text(11);
  EXPECT_THAT(parse(sealed(silent, {11, 12})), FailsWith(Reason::kSuccessionInvalid, "/new_root"));
  Succession other = step(11, 12);
  other.old_trust_text = trust_text(11, 13);
  EXPECT_THAT(parse(sealed(other, {11, 12})), FailsWith(Reason::kSuccessionInvalid, "/new_root"));
  // A root that announces itself leads nowhere.
  EXPECT_THAT(parse(sealed(step(11, 11), {11})), FailsWith(Reason::kSuccessionInvalid, "/new_root"));
}

struct Bent {
  const char* name;
  Reason reason;
  std::function<void(Succession&)> bend;
};
class SuccessionFields : public ::testing::TestWithParam<Bent> {};

TEST_P(SuccessionFields, AreRefusedThoughSigned) {
  Succession succession = step(11, 12);
  GetParam().bend(succession);
  EXPECT_THAT(parse(sealed(succession, {11, 12})), FailsWith(GetParam().reason));
}
const Bent kBent[] = {
    {"weak_new_root", Reason::kKeyWeak, [](Succession& s) { s.new_root = PublicKey{}; }},
    {"weak_before_old_trust", Reason::kKeyWeak,
     [](Succession& s) {
       s.new_root = PublicKey{};
       s.old_trust_text = "nothing";
     }},
    {"no_old_trust", Reason::kSuccessionInvalid, [](Succession& s) { s.old_trust_text = ""; }},
    {"old_trust_of_another_kind", Reason::kSuccessionInvalid,
     [](Succession& s) { s.old_trust_text = "{}\n"; }},
    {"old_trust_not_by_its_root", Reason::kSuccessionInvalid,
     [](Succession& s) { s.old_trust_text = signed_by(write_trust_text(s.old_trust), {2}); }},
    {"weak_key_in_old_trust", Reason::kSuccessionInvalid,
     [](Succession& s) {
       s.old_trust.keys[0].public_key = PublicKey{};
       s.old_trust_text = signed_by(write_trust_text(s.old_trust), {11});
     }},
    {"time", Reason::kSuccessionInvalid, [](Succession& s) { s.claimed_time = ""; }},
    {"reason_of_two_lines", Reason::kSuccessionInvalid, [](Succession& s) { s.reason = "a\nb"; }},
};
INSTANTIATE_TEST_SUITE_P(Table, SuccessionFields, ::testing::ValuesIn(kBent),
                         [](const auto& one) { return std::string(one.param.name); });

// The largest trust file that there may be, as its text doubles every quote.
TEST(Succession, HoldsTheLargestTrustFile) {
  TrustFile trust = trust_of(11, 12);
  trust.keys.clear();
  for (std::uint8_t value = 30; value < 94; ++value) {
    TrustedKey key = trusted(TestKey(value), std::string(200, '"'), {Role::kAuthor});
    for (int job = 100; job < 350; ++job) key.jobs.push_back(std::to_string(job));
    trust.keys.push_back(key);
  }
  std::sort(trust.keys.begin(), trust.keys.end(), [](const auto& a, const auto& b) { return a.id < b.id; });
  Succession succession = step(11, 12);
  succession.old_trust_text = signed_by(write_trust_text(trust), {11});
  ASSERT_GT(succession.old_trust_text.size(), 120000U);
  ASSERT_LT(succession.old_trust_text.size(), kTrustFileSizeLimit);
  EXPECT_THAT(parse(sealed(succession, {11, 12})), IsOk());
}

// ---- chains

Result<TrustChain> chain(const std::string& trust, const std::vector<std::string>& steps,
                         const std::string& stated = "") {
  std::vector<NamedBytes> named;
  for (const std::string& one : steps)
    named.push_back({"step " + std::to_string(named.size() + 1), Bytes(one.begin(), one.end())});
  return parse_trust_chain({"t", Bytes(trust.begin(), trust.end())}, named, stated);
}

TEST(TrustChain, WithoutStepsItIsTheTrustFile) {
  const auto parsed = chain(trust_text(11), {});
  ASSERT_THAT(parsed, IsOk());
  EXPECT_EQ(parsed->trust, trust_of(11));
  EXPECT_EQ(parsed->text, write_trust_text(trust_of(11)));
  EXPECT_TRUE(parsed->steps.empty());
  EXPECT_THAT(chain(trust_text(11), {}, spoken_code(Spoken::kKey, TestKey(11).id())), IsOk());
  EXPECT_THAT(chain(trust_text(11), {}, spoken_code(Spoken::kKey, TestKey(12).id())),
              FailsWith(Reason::kRootMismatch));
}

TEST(TrustChain, LeadsFromAnOldRootToTheTrustFile) {
  const auto parsed = chain(trust_text(13), {sealed_step(11, 12), sealed_step(12, 13)});
  ASSERT_THAT(parsed, IsOk());
  EXPECT_EQ(parsed->trust, trust_of(13));
  ASSERT_EQ(parsed->steps.size(), 2U);
  EXPECT_EQ(parsed->steps.front().old_trust.root, TestKey(11).public_key());
}

TEST(TrustChain, AnyRootOfItMayBeTheStatedOne) {
  const std::vector<std::string> steps{sealed_step(11, 12), sealed_step(12, 13)};
  for (const std::uint8_t root : Bytes{11, 12, 13}) {
    EXPECT_THAT(chain(trust_text(13), steps, spoken_code(Spoken::kKey, TestKey(root).id())), IsOk());
    EXPECT_THAT(chain(trust_text(13), steps, digest_text(TestKey(root).id())), IsOk());
  }
  EXPECT_THAT(chain(trust_text(13), steps, spoken_code(Spoken::kKey, TestKey(14).id())),
              FailsWith(Reason::kRootMismatch));
  EXPECT_THAT(chain(trust_text(13), steps, digest_text(TestKey(2).id())), FailsWith(Reason::kRootMismatch));
  EXPECT_THAT(chain(trust_text(13), steps, "my root"), FailsWith(Reason::kRootMismatch));
  // A root that was left out of the chain is none of it.
  EXPECT_THAT(chain(trust_text(13), {steps[1]}, spoken_code(Spoken::kKey, TestKey(11).id())),
              FailsWith(Reason::kRootMismatch));
}

TEST(TrustChain, BrokenChains) {
  const std::string a = sealed_step(11, 12), b = sealed_step(12, 13), c = sealed_step(13, 14);
  ASSERT_THAT(chain(trust_text(14), {a, b, c}), IsOk());
  const auto broken = FailsWith(Reason::kSuccessionInvalid);
  EXPECT_THAT(chain(trust_text(14), {a, c}), broken);                    // a step skipped
  EXPECT_THAT(chain(trust_text(14), {b, a, c}), broken);                 // swapped
  EXPECT_THAT(chain(trust_text(14), {c, b, a}), broken);                 // newest first
  EXPECT_THAT(chain(trust_text(14), {a, b}), broken);                    // does not reach the trust file
  EXPECT_THAT(chain(trust_text(13), {a, b, c}), broken);                 // leads beyond it
  EXPECT_THAT(chain(trust_text(11), {a}), broken);                       // the trust file of the old root
  EXPECT_THAT(chain(trust_text(14), {a, a, b, c}), broken);              // a step twice
  EXPECT_THAT(chain(trust_text(15), {c, sealed_step(13, 15)}), broken);  // a fork
  // In circles: 11, 12, 11, 12.
  EXPECT_THAT(chain(trust_text(11), {a, sealed_step(12, 11)}), broken);
  const std::string unsigned_trust = write_trust_text(trust_of(14)) + "\n";
  EXPECT_THAT(chain(unsigned_trust, {a, b, c}), FailsWith(Reason::kTrustInvalid));
}

// Every step of a chain is proved, not only the last.
TEST(TrustChain, AForgedStepAnywhereSpoilsIt) {
  std::vector<std::string> steps;
  for (std::uint8_t root = 11; root < 15; ++root)
    steps.push_back(sealed_step(root, static_cast<std::uint8_t>(root + 1)));
  ASSERT_THAT(chain(trust_text(15), steps), IsOk());
  for (std::size_t i = 0; i < steps.size(); ++i) {
    const auto from = static_cast<std::uint8_t>(11 + i);
    std::vector<std::string> bent = steps;
    bent[i] =
        sealed(step(from, static_cast<std::uint8_t>(from + 1)), {static_cast<std::uint8_t>(from + 1), 2});
    EXPECT_THAT(chain(trust_text(15), bent), FailsWith(Reason::kSuccessionInvalid, "signatures")) << i;
  }
}

TEST(TrustChain, StepsAreCounted) {
  std::vector<std::string> steps;
  const auto root = [](std::size_t i) { return static_cast<std::uint8_t>(100 + i); };
  for (std::size_t i = 0; i < kSuccessionStepLimit; ++i) steps.push_back(sealed_step(root(i), root(i + 1)));
  EXPECT_THAT(chain(trust_text(root(kSuccessionStepLimit)), steps), IsOk());
  steps.push_back(sealed_step(root(kSuccessionStepLimit), root(kSuccessionStepLimit + 1)));
  EXPECT_THAT(chain(trust_text(root(kSuccessionStepLimit + 1)), steps),
              FailsWith(Reason::kSuccessionInvalid));
}

}  // namespace
}  // namespace calseal
