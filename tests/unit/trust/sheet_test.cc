#include "calseal/trust/sheet.h"

#include <gtest/gtest.h>

#include <functional>

#include "calseal/base/text.h"
#include "support/matchers.h"
#include "support/sweep.h"
#include "support/test_keys.h"

namespace calseal {
namespace {

// Author 2, reviewer 3, sheets 5 and 6.
TrustFile trust_with_sheet_keys() {
  TrustFile trust = sample_trust();
  trust.keys.push_back(trusted(TestKey(5), "Sheet", {Role::kSheet}));
  trust.keys.push_back(trusted(TestKey(6), "Second", {Role::kReviewer, Role::kSheet}));
  std::sort(trust.keys.begin(), trust.keys.end(),
            [](const TrustedKey& a, const TrustedKey& b) { return a.id < b.id; });
  return trust;
}

Sheet sample_sheet() {
  Sheet sheet;
  sheet.root = TestKey(1).id();
  sheet.number = 7;
  sheet.claimed_time = "2026-03-04T05:06:07Z";
  sheet.options = {{"shift-light",
                    "Shift light",
                    "A lamp.",
                    {"engine"},
                    {{"towing"}, {"e85"}, {"lamp"}},
                    {},
                    {"Draws current."}},
                   {"towing", "Towing", "", {"engine", "gearbox"}, {}, {{}, {}, {"small-cooler"}}, {}}};
  sheet.asked.questions = {
      {"fuel",
       "Which fuel?",
       QuestionKind::kChoice,
       QuestionStates::kFuel,
       true,
       {{"e10", "E10"}, {"e85", "E85"}}},
      {"mass", "Its mass?", QuestionKind::kNumber, QuestionStates::kNothing, false, {}},
      {"remarks", "Anything else?", QuestionKind::kText, QuestionStates::kNothing, false, {}}};
  sheet.asked.reads = {
      {"engine", "engine controller, behind the battery", {{"flash", 1048576}, {"eeprom", 0}}, true},
      {"gearbox", "gearbox controller", {{"flash", 0}}, false}};
  sheet.asked.cautions = {"By your own risk."};
  return sheet;
}

Result<Sheet> parse(std::string_view file, const TrustFile& trust = trust_with_sheet_keys()) {
  return parse_sheet(view_of(file), trust, "s");
}

std::string sealed(const Sheet& sheet, const std::vector<std::uint8_t>& signers = {5}) {
  return signed_by(write_sheet_text(sheet), signers);
}

Sheet read_back(Sheet sheet) {
  sheet.digest = compute_sha256(view_of(write_sheet_text(sheet)));
  return sheet;
}

TEST(SheetFile, ReadBackAsWritten) {
  EXPECT_THAT(parse(sealed(sample_sheet())), IsOkAnd(read_back(sample_sheet())));
  EXPECT_THAT(parse(sealed(sample_sheet(), {5, 6})), IsOkAnd(read_back(sample_sheet())));
  Sheet closed = sample_sheet();
  closed.parcel_key.emplace().bytes.fill(9);
  EXPECT_THAT(parse(sealed(closed)), IsOkAnd(read_back(closed)));
}

TEST(SheetFile, TextIsInTheOrderOfTheFormat) {
  Sheet sheet = sample_sheet();
  sheet.options.erase(sheet.options.begin());
  sheet.asked.questions.erase(sheet.asked.questions.begin() + 1, sheet.asked.questions.end());
  sheet.asked.reads.pop_back();
  EXPECT_EQ(
      write_sheet_text(sheet),
      R"({"calseal":"sheet/1","root":")" + digest_text(TestKey(1).id()) +
          R"(","number":7,"claimed_time":"2026-03-04T05:06:07Z","parcel_key":"","options":[{"name":"towing",)"
          R"("title":"Towing","purpose":"","controllers":["engine","gearbox"],"requires":{"options":[],"fuel":[],)"
          R"("hardware":[]},"excludes":{"options":[],"fuel":[],"hardware":["small-cooler"]},"cautions":[]}],)"
          R"("questions":[{"name":"fuel","text":"Which fuel?","kind":"choice","states":"fuel","required":true,)"
          R"("choices":[{"name":"e10","text":"E10"},{"name":"e85","text":"E85"}]}],"reads":[{"controller":"engine",)"
          R"("title":"engine controller, behind the battery","memories":[{"name":"flash","size":1048576},)"
          R"({"name":"eeprom","size":0}],"again":true}],"cautions":["By your own risk."]})");
}

TEST(SheetFile, EveryBitFlipAndTruncationIsRefused) {
  const TrustFile trust = trust_with_sheet_keys();
  const auto reasons =
      sweep_damage(sealed(sample_sheet()), [&](const std::string& text) { return parse(text, trust); });
  EXPECT_EQ(reasons,
            (std::set<std::string>{"sheet-invalid", "signature-bad", "signer-unknown", "type-wrong"}));
}

TEST(SheetFile, SizeAndKindAreBounded) {
  EXPECT_THAT(parse(std::string(kSheetSizeLimit + 1, 'x')), FailsWith(Reason::kFileTooLarge));
  EXPECT_THAT(parse(signed_by(write_trust_text(sample_trust()), {5})), FailsWith(Reason::kTypeWrong));
}

TEST(SheetFile, NothingIsParsedBeforeItsSignaturesHold) {
  const std::string garbage = std::string(kSheetLiteral) + "[[[";
  EXPECT_THAT(parse(signed_by(garbage, {4})), FailsWith(Reason::kSignerUnknown));
  std::string bad = signed_by(garbage, {5});
  bad[kSheetLiteral.size()] = '{';
  EXPECT_THAT(parse(bad), FailsWith(Reason::kSignatureBad));
  EXPECT_THAT(parse(signed_by(garbage, {5})), FailsWith(Reason::kSheetInvalid));
}

struct Judged {
  const char* name;
  Reason reason;
  std::function<void(TrustFile&)> bend;
};
class SheetSigners : public ::testing::TestWithParam<Judged> {};
TEST_P(SheetSigners, AreJudged) {
  TrustFile trust = trust_with_sheet_keys();
  GetParam().bend(trust);
  EXPECT_THAT(parse(sealed(sample_sheet()), trust), FailsWith(GetParam().reason));
  EXPECT_THAT(parse(sealed(sample_sheet(), {5, 6}), trust), FailsWith(GetParam().reason));
  EXPECT_THAT(parse(sealed(sample_sheet(), {6}), trust), IsOk());
}
const Judged kJudged[] = {
    {"compromised", Reason::kKeyCompromised, [](TrustFile& t) { key_of(t, 5).compromised = true; }},
    {"another_role", Reason::kRolesMissing,
     [](TrustFile& t) {
       key_of(t, 5).roles = {Role::kAuthor, Role::kLedger, Role::kMapAuthor, Role::kReviewer,
                             Role::kWithdrawal};
     }},
    {"for_some_jobs", Reason::kKeyScope, [](TrustFile& t) { key_of(t, 5).jobs = {"job-7"}; }},
    {"for_some_controllers", Reason::kKeyScope, [](TrustFile& t) { key_of(t, 5).controllers = {"engine"}; }},
    {"not_yet_valid", Reason::kKeyValidity,
     [](TrustFile& t) { key_of(t, 5).valid_from = "2026-03-04T05:06:08Z"; }},
    {"no_longer_valid", Reason::kKeyValidity,
     [](TrustFile& t) { key_of(t, 5).valid_until = "2026-03-04T05:06:07Z"; }},
    {"state_before_role", Reason::kKeyCompromised,
     [](TrustFile& t) {
       key_of(t, 5).compromised = true;
       key_of(t, 5).roles = {Role::kAuthor};
     }},
    {"role_before_scope", Reason::kRolesMissing,
     [](TrustFile& t) {
       key_of(t, 5).roles = {Role::kAuthor};
       key_of(t, 5).jobs = {"job-7"};
     }},
    {"scope_before_validity", Reason::kKeyScope,
     [](TrustFile& t) {
       key_of(t, 5).jobs = {"job-7"};
       key_of(t, 5).valid_from = "2030-01-01T00:00:00Z";
     }},
};
INSTANTIATE_TEST_SUITE_P(Table, SheetSigners, ::testing::ValuesIn(kJudged),
                         [](const auto& one) { return std::string(one.param.name); });

TEST(SheetFile, OneSignatureIsEnough) {
  TrustFile trust = trust_with_sheet_keys();
  trust.threshold = 8;
  EXPECT_THAT(parse(sealed(sample_sheet()), trust), IsOk());
}

// The other way round: who signs sheets signs no revision.
TEST(SheetFile, ItsKeyHasARoleOfItsOwn) {
  TrustFile trust = trust_with_sheet_keys();
  EXPECT_EQ(role_name(Role::kSheet), "sheet");
  const std::string text = signed_by(write_trust_text(trust), {1});
  EXPECT_THAT(parse_trust_file(view_of(text), "", "t"), IsOkAnd(trust));
}

struct BentSheet {
  const char* name;
  std::function<void(Sheet&)> bend;
};
class SheetConsistency : public ::testing::TestWithParam<BentSheet> {};
TEST_P(SheetConsistency, IsRefusedThoughSigned) {
  Sheet sheet = sample_sheet();
  GetParam().bend(sheet);
  EXPECT_THAT(parse(sealed(sheet)), FailsWith(Reason::kSheetInvalid));
}
ParcelKey point(std::string_view hex) {
  ParcelKey key;
  const auto bytes = from_hex(hex);
  std::copy(bytes->begin(), bytes->end(), key.bytes.begin());
  return key;
}
const BentSheet kBentSheets[] = {
    {"another_root", [](Sheet& s) { s.root = TestKey(2).id(); }},
    {"number_zero", [](Sheet& s) { s.number = 0; }},
    {"claimed_time", [](Sheet& s) { s.claimed_time = "today"; }},
    {"options_descending", [](Sheet& s) { std::swap(s.options[0], s.options[1]); }},
    {"option_twice", [](Sheet& s) { s.options[0] = s.options[1]; }},
    {"no_controller", [](Sheet& s) { s.options[0].controllers.clear(); }},
    {"controllers_descending",
     [](Sheet& s) {
       s.options[1].controllers = {"gearbox", "engine"};
     }},
    {"requires_what_is_not_there", [](Sheet& s) { s.options[0].requires_also.options = {"wings"}; }},
    {"excludes_what_is_not_there", [](Sheet& s) { s.options[1].excludes.options = {"wings"}; }},
    {"requires_itself", [](Sheet& s) { s.options[1].requires_also.options = {"towing"}; }},
    {"fuels_descending",
     [](Sheet& s) {
       s.options[0].requires_also.fuel = {"e85", "e10"};
     }},
    {"hardware_twice",
     [](Sheet& s) {
       s.options[0].excludes.hardware = {"lamp", "lamp"};
     }},
    {"caution_of_two_lines", [](Sheet& s) { s.options[0].cautions = {"a\nb"}; }},
    {"purpose_too_long", [](Sheet& s) { s.options[0].purpose = std::string(4097, 'x'); }},
    {"question_twice", [](Sheet& s) { s.asked.questions[1].name = "fuel"; }},
    {"one_choice", [](Sheet& s) { s.asked.questions[0].choices.pop_back(); }},
    {"choice_twice", [](Sheet& s) { s.asked.questions[0].choices[1].name = "e10"; }},
    {"choices_of_a_number",
     [](Sheet& s) {
       s.asked.questions[1].choices = {{"a", "A"}, {"b", "B"}};
     }},
    {"number_that_states", [](Sheet& s) { s.asked.questions[1].states = QuestionStates::kHardware; }},
    {"text_that_states", [](Sheet& s) { s.asked.questions[2].states = QuestionStates::kFuel; }},
    {"reads_descending", [](Sheet& s) { std::swap(s.asked.reads[0], s.asked.reads[1]); }},
    {"no_memory", [](Sheet& s) { s.asked.reads[1].memories.clear(); }},
    {"memory_twice", [](Sheet& s) { s.asked.reads[0].memories[1].name = "flash"; }},
    {"memory_too_large", [](Sheet& s) { s.asked.reads[0].memories[0].size = (1u << 28) + 1; }},
    {"key_zero", [](Sheet& s) { s.parcel_key = ParcelKey(); }},
    {"key_one", [](Sheet& s) { s.parcel_key = point("01" + std::string(62, '0')); }},
    {"key_p", [](Sheet& s) { s.parcel_key = point("ed" + std::string(60, 'f') + "7f"); }},
    {"key_p_with_the_top_bit", [](Sheet& s) { s.parcel_key = point("ed" + std::string(62, 'f')); }},
    {"key_of_order_eight",
     [](Sheet& s) {
       s.parcel_key = point("e0eb7a7c3b41b8ae1656e3faf19fc46ada098deb9c32b1fd866205165f49b800");
     }},
    {"key_of_order_eight_too",
     [](Sheet& s) {
       s.parcel_key = point("5f9c95bca3508c24b1d0b1559c83ef5b04445cc4581c8e86d8224eddd09f1157");
     }},
};
INSTANTIATE_TEST_SUITE_P(Table, SheetConsistency, ::testing::ValuesIn(kBentSheets),
                         [](const auto& one) { return std::string(one.param.name); });

TEST(SheetFile, Find) {
  const Sheet sheet = sample_sheet();
  EXPECT_EQ(sheet.find_option("towing"), &sheet.options[1]);
  EXPECT_EQ(sheet.find_option("wings"), nullptr);
  EXPECT_EQ(sheet.find_question("mass"), &sheet.asked.questions[1]);
  EXPECT_EQ(sheet.find_question("colour"), nullptr);
  EXPECT_EQ(sheet.size_of("engine", "flash"), 1048576U);
  EXPECT_EQ(sheet.size_of("engine", "eeprom"), 0U);
  EXPECT_EQ(sheet.size_of("engine", "ram"), 0U);
  EXPECT_EQ(sheet.size_of("brakes", "flash"), 0U);
}

// Each of these gives zero with any private key, by libcrypto's own X25519.
TEST(SheetFile, PointsOfSmallOrderAreThoseThatLibcryptoRefuses) {
  const auto shared = [](const ParcelKey& their) {
    const Bytes secret(32, 0x42);
    std::unique_ptr<EVP_PKEY, void (*)(EVP_PKEY*)> mine(
        EVP_PKEY_new_raw_private_key(EVP_PKEY_X25519, nullptr, secret.data(), 32), &EVP_PKEY_free);
    std::unique_ptr<EVP_PKEY, void (*)(EVP_PKEY*)> peer(
        EVP_PKEY_new_raw_public_key(EVP_PKEY_X25519, nullptr, their.bytes.data(), 32), &EVP_PKEY_free);
    std::unique_ptr<EVP_PKEY_CTX, void (*)(EVP_PKEY_CTX*)> context(EVP_PKEY_CTX_new(mine.get(), nullptr),
                                                                   &EVP_PKEY_CTX_free);
    Bytes out(32);
    std::size_t size = out.size();
    return EVP_PKEY_derive_init(context.get()) == 1 &&
           EVP_PKEY_derive_set_peer_ex(context.get(), peer.get(), 0) == 1 &&
           EVP_PKEY_derive(context.get(), out.data(), &size) == 1;
  };
  for (const BentSheet& bent : kBentSheets) {
    Sheet sheet = sample_sheet();
    bent.bend(sheet);
    if (!sheet.parcel_key) continue;
    EXPECT_TRUE(is_of_small_order(*sheet.parcel_key)) << bent.name;
    EXPECT_FALSE(shared(*sheet.parcel_key)) << bent.name;
  }
  ParcelKey ordinary;
  ordinary.bytes.fill(9);
  EXPECT_FALSE(is_of_small_order(ordinary));
  EXPECT_TRUE(shared(ordinary));
}

}  // namespace
}  // namespace calseal
