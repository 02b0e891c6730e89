#include "calseal/receipt/receipt_key.h"

#include <gtest/gtest.h>
#include <sys/stat.h>

#include "calseal/base/file.h"
#include "support/matchers.h"
#include "support/outside_tools.h"

namespace calseal {
namespace {

Receipt sample_receipt() {
  Receipt receipt;
  receipt.revision = compute_sha256(view_of("revision"));
  receipt.job = "oak-17";
  receipt.controller = "engine";
  receipt.claimed_time = "2026-03-04T05:06:07Z";
  return receipt;
}

TEST(ReceiptKeyFile, IsMadeOnceAndSignsTheSameEverAfter) {
  const ScratchFolder scratch;
  const std::string path = scratch.path("receipt.key");
  const auto made = ReceiptKey::obtain(path);
  ASSERT_THAT(made, IsOk());
  EXPECT_TRUE(made->is_new());
  struct stat status {};
  ASSERT_EQ(::stat(path.c_str(), &status), 0);
  EXPECT_EQ(status.st_mode & 0777, 0600U);
  const auto again = ReceiptKey::obtain(path);
  ASSERT_THAT(again, IsOk());
  EXPECT_FALSE(again->is_new());
  EXPECT_EQ(again->public_key(), made->public_key());
  const auto receipt = sign_receipt(again->key(), sample_receipt());
  ASSERT_THAT(receipt, IsOk());
  EXPECT_THAT(sign_receipt(made->key(), sample_receipt()), IsOkAnd(*receipt));
  const auto parsed = parse_receipt(view_of(*receipt), "r");
  ASSERT_THAT(parsed, IsOk());
  EXPECT_EQ(parsed->key, made->public_key());
  EXPECT_EQ(parsed->revision, sample_receipt().revision);
}

TEST(ReceiptKeyFile, IsRefusedWhenOthersReadItOrItIsNone) {
  const ScratchFolder scratch;
  const std::string path = scratch.path("receipt.key");
  ASSERT_THAT(ReceiptKey::obtain(path), IsOk());
  ASSERT_EQ(::chmod(path.c_str(), 0640), 0);
  EXPECT_THAT(ReceiptKey::obtain(path), FailsWith(Reason::kKeyFilePermissions));
  const std::string other = scratch.path("other.key");
  ASSERT_THAT(write_file(other, view_of("another file"), FileMode::kPrivate), IsOk());
  EXPECT_THAT(ReceiptKey::obtain(other), FailsWith(Reason::kTypeWrong));
  const std::string cut = scratch.path("cut.key");
  ASSERT_THAT(write_file(cut, view_of(R"({"calseal":"receipt-key/1","seed":"00"})"), FileMode::kPrivate),
              IsOk());
  EXPECT_THAT(ReceiptKey::obtain(cut), FailsWith(Reason::kKeyFileInvalid));
  EXPECT_THAT(ReceiptKey::obtain(scratch.path("no/such/folder.key")), FailsWith(Reason::kWriteFailed));
}

}  // namespace
}  // namespace calseal
