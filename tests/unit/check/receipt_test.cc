#include "calseal/check/receipt.h"

#include <gtest/gtest.h>

#include "support/matchers.h"
#include "support/sweep.h"
#include "support/test_keys.h"

namespace calseal {
namespace {

Receipt sample_receipt() {
  Receipt receipt;
  receipt.key = TestKey(8).public_key();
  receipt.revision = compute_sha256(view_of("revision"));
  receipt.job = "oak-17";
  receipt.controller = "engine";
  receipt.vehicle = VehicleProof::kProved;
  receipt.head_size = 12;
  receipt.head_root_hash = compute_sha256(view_of("head"));
  receipt.claimed_time = "2026-03-04T05:06:07Z";
  return receipt;
}

std::string sealed(const Receipt& receipt, const std::vector<std::uint8_t>& signers = {8}) {
  return signed_by(write_receipt_text(receipt), signers);
}

TEST(Receipt, ReadsBackAsWritten) {
  EXPECT_THAT(parse_receipt(view_of(sealed(sample_receipt())), "r"), IsOkAnd(sample_receipt()));
  Receipt refused = sample_receipt();
  refused.outcome = Outcome::kRefused;
  refused.reason = "read-foreign";
  EXPECT_THAT(parse_receipt(view_of(sealed(refused)), "r"), IsOkAnd(refused));
}

TEST(Receipt, EveryBitFlipAndTruncationIsRefused) {
  const auto reasons = sweep_damage(
      sealed(sample_receipt()), [&](const std::string& text) { return parse_receipt(view_of(text), "r"); });
  EXPECT_EQ(reasons.count("receipt-invalid"), 1U);
  for (const std::string& reason : reasons)
    EXPECT_TRUE(reason == "receipt-invalid" || reason == "type-wrong" || reason == "key-weak") << reason;
}

TEST(Receipt, OnlyTheKeyThatItNamesSignsIt) {
  EXPECT_THAT(parse_receipt(view_of(sealed(sample_receipt(), {9})), "r"),
              FailsWith(Reason::kReceiptInvalid, "line 2"));
  EXPECT_THAT(parse_receipt(view_of(sealed(sample_receipt(), {8, 9})), "r"),
              FailsWith(Reason::kReceiptInvalid, "line 2"));
  Receipt weak = sample_receipt();
  weak.key = {};
  EXPECT_THAT(parse_receipt(view_of(sealed(weak)), "r"), FailsWith(Reason::kKeyWeak));
  EXPECT_THAT(parse_receipt(Bytes(kReceiptSizeLimit + 1, 'x'), "r"), FailsWith(Reason::kFileTooLarge));
}

TEST(Receipt, IsAboutOneRevisionThatWasAccepted) {
  Receipt receipt = sample_receipt();
  EXPECT_THAT(check_receipt(receipt, receipt.revision, "r"), IsOk());
  EXPECT_THAT(check_receipt(receipt, compute_sha256(view_of("another")), "r"),
              FailsWith(Reason::kReceiptInvalid, "revision"));
  receipt.outcome = Outcome::kRefused;
  EXPECT_THAT(check_receipt(receipt, receipt.revision, "r"), FailsWith(Reason::kReceiptInvalid, "outcome"));
}

TEST(ReceiptCode, IsOfOneRevisionOutcomeAndSalt) {
  const Sha256 revision = compute_sha256(view_of("revision"));
  const Bytes salt(32, 7), other(32, 8);
  const std::string code = receipt_code(revision, Outcome::kAccepted, salt);
  ASSERT_EQ(code.size(), 26U);  // Q and five groups of four
  EXPECT_NE(code, receipt_code(revision, Outcome::kAuthentic, salt));
  EXPECT_EQ(receipt_code(revision, Outcome::kRefused, salt), "");
  EXPECT_THAT(check_receipt_code(code, revision, salt), IsOk());
  std::string spoken = code;
  spoken[0] = 'q';
  spoken[6] = '-';
  spoken.erase(11, 1);
  EXPECT_THAT(check_receipt_code(spoken, revision, salt), IsOk());
  EXPECT_THAT(check_receipt_code(code, revision, other), FailsWith(Reason::kReceiptInvalid));
  EXPECT_THAT(check_receipt_code(code, compute_sha256(view_of("x")), salt),
              FailsWith(Reason::kReceiptInvalid));
  EXPECT_THAT(check_receipt_code("", revision, salt), FailsWith(Reason::kReceiptInvalid));
  for (std::size_t i = 0; i < code.size(); ++i) {
    std::string wrong = code;
    if (wrong[i] == ' ') continue;
    wrong[i] = wrong[i] == '0' ? '1' : '0';
    EXPECT_THAT(check_receipt_code(wrong, revision, salt), FailsWith(Reason::kReceiptInvalid)) << i;
  }
  // A misheard group is named; of a code that is whole but another, nothing is given away.
  std::string misheard = code;
  misheard[8] = misheard[8] == '0' ? '1' : '0';
  EXPECT_EQ(check_receipt_code(misheard, revision, salt).error().expected,
            "a receipt's code; here group 2 does not fit its check digit");
  const Status another =
      check_receipt_code(receipt_code(revision, Outcome::kAccepted, other), revision, salt);
  EXPECT_THAT(another, FailsWith(Reason::kReceiptInvalid));
  EXPECT_EQ(another.error().expected.find("group"), std::string::npos);
  EXPECT_EQ(another.error().expected.find(code), std::string::npos);
}

}  // namespace
}  // namespace calseal
