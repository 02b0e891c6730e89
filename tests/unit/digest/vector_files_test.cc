// The vector files themselves: present, sourced, described, and read strictly.
#include <gmock/gmock.h>

#include <algorithm>
#include <filesystem>
#include <string>
#include <vector>

#include "support/matchers.h"
#include "support/vector_file.h"

namespace calseal {
namespace {

std::vector<std::string> vector_file_names() {
  std::vector<std::string> names;
  for (const auto& entry : std::filesystem::directory_iterator(vector_path(""))) {
    if (entry.path().extension() == ".json") names.push_back(entry.path().filename().string());
  }
  std::ranges::sort(names);
  return names;
}

TEST(VectorFiles, AreNeverNone) { EXPECT_GE(vector_file_names().size(), 13U); }

TEST(VectorFiles, EachNamesItsSourcesAndStandsInTheReadme) {
  const Result<Bytes> readme = read_file(vector_path("README.md"), 1 << 20);
  ASSERT_THAT(readme, IsOk());
  for (const std::string& name : vector_file_names()) {
    SCOPED_TRACE(name);
    const Result<Bytes> bytes = read_file(vector_path(name), 16 << 20);
    ASSERT_THAT(bytes, IsOk());
    const Result<JsonValue> tree = parse_json(text_of(*bytes), name);
    ASSERT_THAT(tree, IsOk());
    const JsonValue* source = tree->find("source");
    ASSERT_NE(source, nullptr);
    EXPECT_FALSE(source->items.empty());
    EXPECT_THAT(text_of(*readme), ::testing::HasSubstr("`" + name + "`"));
  }
}

std::vector<std::uint64_t> read_numbers(const std::string& text) {
  return vector_rows_of<std::uint64_t>(text, "text", "rows",
                                       [](JsonObject& row) { return row.integer("n", 0, 9); });
}

TEST(VectorFiles, RowsAreRead) {
  EXPECT_THAT(read_numbers(R"({"source":["here"],"rows":[{"n":1},{"n":2}]})"), ::testing::ElementsAre(1, 2));
}

TEST(VectorFiles, AnUnknownFieldLeavesNoRows) {
  EXPECT_THAT(read_numbers(R"({"source":["here"],"rows":[{"n":1,"m":2}]})"), ::testing::IsEmpty());
  EXPECT_THAT(read_numbers(R"({"source":["here"],"rows":[{"n":1}],"more":[]})"), ::testing::IsEmpty());
}

TEST(VectorFiles, AMissingFieldOrSourceLeavesNoRows) {
  EXPECT_THAT(read_numbers(R"({"source":["here"],"rows":[{"n":1},{}]})"), ::testing::IsEmpty());
  EXPECT_THAT(read_numbers(R"({"source":[],"rows":[{"n":1}]})"), ::testing::IsEmpty());
  EXPECT_THAT(read_numbers(R"({"rows":[{"n":1}]})"), ::testing::IsEmpty());
}

}  // namespace
}  // namespace calseal
