#include "calseal/parcel/customer_file.h"

#include <gtest/gtest.h>

#include <functional>

#include "calseal/base/text.h"
#include "calseal/digest/sha256.h"
#include "support/matchers.h"

namespace calseal {
namespace {

CustomerFile sample_customer() {
  CustomerFile customer;
  customer.seed.bytes.fill(7);
  customer.number = 3;
  customer.salts = {{"ash-2", {}}, {"oak-17", {}}};
  customer.salts[1].salt.bytes.fill(0xab);
  customer.state = "{\"calseal\":\"state/1\"}\n00\n";
  customer.receipts = {"one\n", "two\n"};
  return customer;
}

std::string with_digest(const std::string& text) {
  return text + "\n" + digest_text(compute_sha256(view_of(text))) + "\n";
}

TEST(CustomerFileText, ReadBackAsWritten) {
  const auto text = write_customer_file(sample_customer());
  ASSERT_THAT(text, IsOk());
  EXPECT_THAT(parse_customer_file(view_of(*text), "c"), IsOkAnd(sample_customer()));
  CustomerFile bare;
  EXPECT_EQ(*write_customer_file(bare),
            with_digest(R"({"calseal":"customer/1","seed":")" + std::string(64, '0') +
                        R"(","number":0,"salts":[],"state":"","receipts":[]})"));
}

TEST(CustomerFileText, NewOnesHaveDifferentKeys) {
  const auto a = new_customer_file();
  const auto b = new_customer_file();
  ASSERT_THAT(a, IsOk());
  ASSERT_THAT(b, IsOk());
  EXPECT_NE(a->seed, b->seed);
  EXPECT_EQ(a->number, 0U);
  EXPECT_THAT(parse_customer_file(view_of(*write_customer_file(*a)), "c"), IsOkAnd(*a));
}

TEST(CustomerFileText, EveryBitFlipTruncationAndAppendedByteIsRefused) {
  const std::string text = *write_customer_file(sample_customer());
  for (std::size_t at = 0; at < text.size(); ++at) {
    for (int bit = 0; bit < 8; ++bit) {
      std::string bent = text;
      bent[at] = static_cast<char>(bent[at] ^ (1 << bit));
      ASSERT_THAT(parse_customer_file(view_of(bent), "c"), FailsWith(Reason::kCustomerFileInvalid)) << at;
    }
    ASSERT_THAT(parse_customer_file(view_of(text.substr(0, at)), "c"),
                FailsWith(Reason::kCustomerFileInvalid));
  }
  for (int value = 0; value < 256; ++value) {
    ASSERT_THAT(parse_customer_file(view_of(text + static_cast<char>(value)), "c"),
                FailsWith(Reason::kCustomerFileInvalid));
  }
}

struct BentCustomer {
  const char* name;
  std::function<void(std::string&)> bend;  // the first line, whose digest is made anew
};
class CustomerFileFault : public ::testing::TestWithParam<BentCustomer> {};
TEST_P(CustomerFileFault, IsRefusedUnderAGoodDigest) {
  std::string text = *write_customer_file(sample_customer());
  text.erase(text.find('\n'));
  GetParam().bend(text);
  EXPECT_THAT(parse_customer_file(view_of(with_digest(text)), "c"), FailsWith(Reason::kCustomerFileInvalid));
}
void replace(std::string& text, std::string_view from, std::string_view to) {
  ASSERT_NE(text.find(from), std::string::npos);
  text.replace(text.find(from), from.size(), to);
}
const BentCustomer kBent[] = {
    {"another_kind", [](std::string& t) { replace(t, "customer/1", "customer/2"); }},
    {"blanks", [](std::string& t) { replace(t, "\"number\":3", "\"number\": 3"); }},
    {"unknown_key", [](std::string& t) { replace(t, "\"state\"", "\"a\":1,\"state\""); }},
    {"seed_short", [](std::string& t) { replace(t, "0707", "07"); }},
    {"salts_descending", [](std::string& t) { replace(t, "ash-2", "pine-2"); }},
    {"salts_twice", [](std::string& t) { replace(t, "ash-2", "oak-17"); }},
    {"job_is_no_name", [](std::string& t) { replace(t, "ash-2", "Ash"); }},
    {"number_too_high", [](std::string& t) { replace(t, "\"number\":3", "\"number\":1099511627777"); }},
    {"receipt_too_long", [](std::string& t) { replace(t, "two", std::string(4096, 'x')); }},
};
INSTANTIATE_TEST_SUITE_P(Table, CustomerFileFault, ::testing::ValuesIn(kBent),
                         [](const auto& one) { return std::string(one.param.name); });

TEST(CustomerFileText, SizeIsBounded) {
  EXPECT_THAT(parse_customer_file(view_of(std::string(kCustomerFileLimit + 1, 'x')), "c"),
              FailsWith(Reason::kFileTooLarge));
  CustomerFile customer = sample_customer();
  customer.state = std::string(std::size_t{8} << 20, 's');
  EXPECT_THAT(write_customer_file(customer), IsOk());
  customer.state = std::string(std::size_t{8} << 20, '\n');  // doubled in the text
  EXPECT_THAT(write_customer_file(customer), FailsWith(Reason::kFileTooLarge));
}

}  // namespace
}  // namespace calseal
