// Files that pass by beside each other have the facts that each has alone.
#include "calseal/archive/examine.h"

#include <gtest/gtest.h>

#include "support/matchers.h"
#include "support/outside_tools.h"
#include "support/random.h"
#include "support/small_job.h"

namespace calseal {
namespace {

class ExaminedFiles : public ::testing::Test {
 protected:
  // A bundle of so many bytes and more: several pieces, from some size on.
  Bytes bundle(std::uint64_t revision, std::size_t attached) {
    SealRequest request =
        revision == 0 ? job.request(0, job.base) : job.request(revision, edited_small(job.base, 9));
    request.packing = Packing::kStored;
    request.statement.attachments = {{"noise.bin", "noise", random.bytes(attached)}};
    const auto sealed = seal(request, {job.author}, job.trust);
    if (!sealed) throw std::runtime_error(std::string(code(sealed.error().reason)));
    return sealed->file;
  }

  std::vector<FileFacts> examine(Depth depth) {
    survey = survey_archive({folder.path("archive")}).value();
    ExamineContext context = make_examine_context(survey, depth, {&job.trust});
    context.earlier = earlier;
    std::vector<const SurveyedFile*> files;
    for (const SurveyedFile& file : survey.files) files.push_back(&file);
    std::vector<FileFacts> together = Examiner(context).examine(files);
    for (std::size_t i = 0; i < files.size(); ++i)
      EXPECT_EQ(Examiner(context).examine({files[i]}), std::vector{together[i]}) << files[i]->path;
    return together;
  }

  void put(const std::string& name, const Bytes& bytes) {
    std::filesystem::create_directories(folder.path("archive"));
    folder.put("archive/" + name, bytes);
  }

  Random random;
  ScratchFolder folder;
  SmallJob job;
  Survey survey;
  std::unordered_map<std::string, EarlierFile> earlier;
};

TEST_F(ExaminedFiles, DigestsAreThoseOfEveryFileWhateverIsBesideIt) {
  std::map<std::string, Sha256> expected;
  for (const std::size_t size : {0UL, 1UL, 63UL, 64UL, 300UL << 10, 256UL << 10, 700001UL, 3UL << 20, 5UL}) {
    const std::string name = std::to_string(size);
    const Bytes bytes = random.bytes(size);
    put(name, bytes);
    expected[name] = compute_sha256(bytes);
  }
  const std::vector<FileFacts> facts = examine(Depth::kStored);
  ASSERT_EQ(facts.size(), expected.size());
  for (const FileFacts& file : facts) {
    EXPECT_FALSE(file.fault) << file.path;
    EXPECT_EQ(file.digest, expected.at(file.path)) << file.path;
  }
}

TEST_F(ExaminedFiles, BundlesAreJudgedEachByItsOwnBytes) {
  const Bytes whole = bundle(0, 2000000);
  Bytes flipped = whole;
  flipped[whole.size() - 5000] ^= 1;
  Bytes forged = whole;
  forged[700] ^= 1;
  put("a-whole", whole);
  put("b-flipped", flipped);
  put("c-cut", Bytes(whole.begin(), whole.end() - 100000));
  put("d-longer", [&] {
    Bytes longer = whole;
    longer.push_back(0);
    return longer;
  }());
  put("e-forged", forged);
  put("f-revision", bundle(1, 40));
  put("g-other", random.bytes(400000));
  for (const Depth depth : {Depth::kStored, Depth::kProved}) {
    const std::vector<FileFacts> facts = examine(depth);
    ASSERT_EQ(facts.size(), 7U);
    EXPECT_FALSE(facts[0].fault);
    ASSERT_TRUE(facts[1].fault);
    EXPECT_EQ(facts[1].fault->reason, Reason::kStoredDigest);
    EXPECT_TRUE(facts[2].fault);
    EXPECT_TRUE(facts[3].fault);
    EXPECT_TRUE(facts[4].fault);
    EXPECT_FALSE(facts[5].fault);
    EXPECT_TRUE(facts[5].revision);
    EXPECT_TRUE(facts[6].digest);
  }
}

TEST_F(ExaminedFiles, FilesThatGrowAreComparedWithWhatWasSeenOfThem) {
  std::string lines = R"({"time":"2026-03-04T05:06:07Z","event":"note"})";
  lines.resize(600000, '\n');
  put("events.jsonl", Bytes(lines.begin(), lines.end()));
  const auto seen = [&](std::uint64_t size, const Sha256& digest) {
    earlier = {{"events.jsonl", {size, digest}}};
    return examine(Depth::kStored).front().continues;
  };
  ASSERT_EQ(survey_archive({folder.path("archive")})->files.front().kind, FileKind::kJobEvents);
  const auto first = [&](std::size_t size) { return compute_sha256(view_of(lines).first(size)); };
  EXPECT_EQ(seen(300000, first(300000)), true);
  EXPECT_EQ(seen(600000, first(600000)), true);
  EXPECT_EQ(seen(0, first(0)), true);
  EXPECT_EQ(seen(300000, first(300001)), false);
  EXPECT_EQ(seen(600001, first(600000)), false);
}

}  // namespace
}  // namespace calseal
