// fixtures/bundles/: bundles to accept and to refuse, through the whole checker; and the one that
// docs/bundle-format.md prints byte by byte.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <iostream>
#include <optional>
#include <set>
#include <sstream>
#include <stdexcept>

#include "calseal/base/file.h"
#include "calseal/base/json_reader.h"
#include "calseal/base/text.h"
#include "calseal/check/check.h"
#include "support/fixtures.h"
#include "support/vector_file.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

const std::string kFolder = fixtures() + "/bundles/";

struct Row {
  std::string name, bundle, trust, stated_root, salt;
  std::vector<std::string> reads;
  std::string vehicle_reference;
  bool read_is_fresh = false, revive = false, seal_only = false;
  std::string now, expect;
  std::vector<std::pair<std::string, std::string>> results;
  std::string note;
  friend void PrintTo(const Row& row, std::ostream* out) { *out << row.name << " (" << row.note << ")"; }
};

Row read_row(const JsonNode& node) {
  JsonObject object(node);
  Row row;
  row.name = object.text("name");
  row.bundle = object.text("bundle");
  row.trust = object.text("trust");
  row.stated_root = object.text("stated_root");
  row.salt = object.text("salt");
  for (const JsonNode& read : object.items("reads", 16)) row.reads.push_back(read.text());
  row.vehicle_reference = object.text("vehicle_reference");
  row.read_is_fresh = object.boolean("read_is_fresh");
  row.revive = object.boolean("revive");
  row.seal_only = object.boolean("seal_only");
  row.now = object.text("now");
  row.expect = object.text("expect");
  if (const auto results = object.required("results")) {
    for (const JsonMember& member : results->copy().members)
      row.results.emplace_back(member.first, member.second.text);
  }
  row.note = object.text("note");
  object.done();
  return row;
}

// All rows, or none when the index is at fault, which GoogleTest reports as a suite without instance.
std::vector<Row> read_rows(std::string_view text) {
  const auto tree = JsonTree::parse(text, "index.json");
  if (!tree) {
    std::cerr << "index.json: " << tree.error().place << ": " << tree.error().found << "\n";
    return {};
  }
  JsonDocument document(text, "index.json");
  JsonObject root(JsonNode(document, *tree));
  if (root.text("calseal") != "bundle-vectors/1")
    root.node().refuse(Reason::kTypeWrong, "another kind", "bundle-vectors/1");
  std::vector<Row> rows;
  for (const JsonNode& node : root.items("vectors", 10000)) rows.push_back(read_row(node));
  root.done();
  if (document.ok()) return rows;
  std::cerr << "index.json: " << document.error().place << ": " << document.error().found << "\n";
  return {};
}

std::vector<Row> all_rows() {
  const auto index = read_file(kFolder + "index.json", 1 << 20);
  return index ? read_rows(text_of(*index)) : std::vector<Row>{};
}

Bytes fixture(const std::string& name) {
  auto bytes = read_file(kFolder + name, 1 << 20);
  if (!bytes) throw std::runtime_error(name + " is missing, empty or too large");
  return *std::move(bytes);
}

class BundleVectors : public ::testing::TestWithParam<Row> {};

TEST_P(BundleVectors, GiveTheirVerdict) {
  const Row& row = GetParam();
  CheckRequest request;
  request.bundle_name = row.bundle;
  request.bundle = fixture(row.bundle);
  request.trust_name = row.trust;
  request.trust = fixture(row.trust);
  request.stated_root = row.stated_root;
  for (const std::string& argument : row.reads) {
    ReadFile read = parse_read_argument(argument);
    read.bytes = fixture(read.name);
    request.read.push_back(std::move(read));
  }
  request.evidence.read_is_fresh = row.read_is_fresh;
  request.evidence.vehicle_reference = row.vehicle_reference;
  if (!row.salt.empty()) {
    const auto salt = parse_salt(fixture(row.salt), row.salt);
    ASSERT_THAT(salt, IsOk());
    request.evidence.salt = *salt;
  }
  request.revive = row.revive;
  request.seal_only = row.seal_only;
  const auto now = parse_time(row.now);
  ASSERT_TRUE(now);
  request.now = *now;

  const Verdict verdict = check_bundle(request);
  std::vector<std::pair<std::string, std::string>> results;
  for (const RebuiltFile& file : verdict.files)
    results.emplace_back(file.memory, digest_text(compute_sha256(file.bytes)));
  EXPECT_EQ(results, row.results);
  EXPECT_EQ(row.results.empty(), row.expect != "accepted")
      << "an accepted row names its results, and no other does";
  if (row.expect == "accepted") {
    EXPECT_THAT(verdict, IsAccepted());
  } else if (row.expect == "authentic") {
    EXPECT_EQ(verdict.outcome, Outcome::kAuthentic);
  } else {
    ASSERT_EQ(verdict.outcome, Outcome::kRefused);
    EXPECT_EQ(code(verdict.reason->reason), row.expect)
        << verdict.reason->place << ": " << verdict.reason->found;
  }
}

INSTANTIATE_TEST_SUITE_P(All, BundleVectors, ::testing::ValuesIn(all_rows()),
                         [](const auto& row) { return test_name(row.param.name); });

TEST(BundleVectorIndex, NamesEveryFileAndNoOther) {
  std::set<std::string> named = {"index.json", "README.md"}, names;
  for (const Row& row : all_rows()) {
    EXPECT_TRUE(names.insert(row.name).second) << row.name << " stands twice";
    EXPECT_FALSE(row.note.empty()) << row.name;
    named.insert({row.bundle, row.trust});
    if (!row.salt.empty()) named.insert(row.salt);
    for (const std::string& read : row.reads) named.insert(parse_read_argument(read).name);
  }
  std::set<std::string> present;
  std::uintmax_t size = 0;
  for (const auto& entry : std::filesystem::directory_iterator(kFolder)) {
    present.insert(entry.path().filename().string());
    size += entry.file_size();
  }
  EXPECT_EQ(named, present);
  EXPECT_LT(size, 5U << 18U);
}

TEST(BundleVectorIndex, IsReadStrictly) {
  const std::string row =
      R"({"name":"a","bundle":"b","trust":"t","stated_root":"","salt":"","reads":[],"vehicle_reference":"","read_is_fresh":true,)"
      R"("revive":false,"seal_only":false,"now":"2026-03-04T05:06:07Z","expect":"accepted","results":{},"note":"n"})";
  const auto index = [](const std::string& rows) {
    return R"({"calseal":"bundle-vectors/1","vectors":[)" + rows + "]}";
  };
  EXPECT_EQ(read_rows(index(row)).size(), 1U);
  std::string unknown = row;
  unknown.insert(1, R"("more":1,)");
  EXPECT_TRUE(read_rows(index(unknown)).empty());
  std::string missing = row;
  missing.replace(missing.find(R"("revive":false,)"), 15, "");
  EXPECT_TRUE(read_rows(index(missing)).empty());
  EXPECT_TRUE(read_rows(index(row) + "x").empty());
}

// Every reason that a bundle, a trust file or the evidence can give, as far as small files reach.
TEST(BundleVectorIndex, CoversTheReasons) {
  std::set<std::string> covered;
  for (const Row& row : all_rows()) covered.insert(row.expect);
  for (const char* reason : {"accepted",
                             "authentic",
                             "bundle-size",
                             "not-a-bundle",
                             "prefix-damaged",
                             "signature-missing",
                             "signer-unknown",
                             "signature-bad",
                             "type-wrong",
                             "format-unknown",
                             "json-syntax",
                             "json-repeated-key",
                             "json-depth",
                             "json-number",
                             "json-unknown-key",
                             "json-missing-key",
                             "json-type",
                             "json-value",
                             "json-not-canonical",
                             "manifest-invalid",
                             "framing-damaged",
                             "stored-digest",
                             "content-digest",
                             "key-compromised",
                             "key-scope",
                             "key-validity",
                             "roles-missing",
                             "trust-invalid",
                             "key-weak",
                             "root-mismatch",
                             "expired",
                             "read-missing",
                             "read-incomplete",
                             "read-foreign",
                             "change-patch",
                             "salt-wrong",
                             "vehicle-mismatch",
                             "vehicle-not-provable",
                             "vehicle-reference",
                             "read-not-fresh",
                             "result-mismatch",
                             "claim-mismatch",
                             "checksum-fails"}) {
    EXPECT_EQ(covered.count(reason), 1U) << reason;
  }
}

// The chapter's blocks in their order: "hex" blocks are lines of offset, bytes and words; "text" blocks are
// bytes as they stand, without their last line end.
Bytes printed_bundle(const std::string& page) {
  const std::string head = "\n## A small bundle byte by byte\n";
  const std::size_t from = page.find(head);
  if (from == std::string::npos) return {};
  const std::string chapter = page.substr(from, page.find("\n## ", from + head.size()) - from);
  Bytes out;
  for (std::size_t at = chapter.find("\n```"); at != std::string::npos; at = chapter.find("\n```", at)) {
    const std::size_t line = chapter.find('\n', at + 1);
    const std::size_t end = chapter.find("\n```", line);
    const std::string kind = chapter.substr(at + 4, line - at - 4);
    const std::string body = chapter.substr(line + 1, end - line - 1);
    at = end + 4;
    if (kind == "text") out.insert(out.end(), body.begin(), body.end());
    if (kind != "hex") continue;
    std::istringstream lines(body);
    for (std::string text; std::getline(lines, text);) {
      // 8 digits of offset, two spaces, up to 16 bytes, then words behind two spaces or more.
      EXPECT_EQ(text.substr(0, 8), address_text(out.size()).substr(2)) << text;
      std::string digits = text.substr(10, text.find("  ", 10) - 10);
      std::erase(digits, ' ');
      const auto bytes = from_hex(digits);
      EXPECT_TRUE(bytes && !bytes->empty()) << text;
      if (bytes) out.insert(out.end(), bytes->begin(), bytes->end());
    }
  }
  return out;
}

TEST(BundlePage, PrintsARealBundle) {
  const auto page = read_file(fixtures() + "/../docs/bundle-format.md", 1 << 20);
  ASSERT_THAT(page, IsOk());
  const Bytes bundle = fixture("tiny-revision.calseal");
  const Bytes printed = printed_bundle(std::string(text_of(*page)));
  ASSERT_EQ(printed.size(), bundle.size());
  const auto differs = std::ranges::mismatch(printed, bundle).in1;
  EXPECT_EQ(differs - printed.begin(), static_cast<std::ptrdiff_t>(bundle.size())) << "first differing byte";
}

}  // namespace
}  // namespace calseal
