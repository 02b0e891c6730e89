// Every question, answered by the index and by a plain scan over the same bundles.
#include <gtest/gtest.h>

#include "calseal/query/find.h"
#include "support/bundle_shelf.h"
#include "support/matchers.h"

namespace calseal {
namespace {

bool has_option(const Manifest& manifest, const std::string& name) {
  return std::ranges::any_of(manifest.options, [&](const auto& one) { return one.name == name; });
}

bool built_on(const ShelvedBundle& bundle, const Sha256& stock, const std::vector<ShelvedBundle>& all) {
  const ManifestController& controller = bundle.manifest.controller();
  if (controller.pinned_before == stock) return true;
  return std::ranges::any_of(all, [&](const ShelvedBundle& base) {
    return base.manifest.revision == 0 && base.manifest.job == bundle.manifest.job &&
           base.manifest.base_number == bundle.manifest.base_number &&
           base.manifest.controller().name == controller.name &&
           base.manifest.controller().pinned_before == controller.pinned_before &&
           std::ranges::any_of(base.manifest.controller().files,
                               [&](const ManifestFile& file) { return file.digest == stock; });
  });
}

// The words of docs/archive.md, one bundle at a time.
bool fits(const ShelvedBundle& bundle, const Criterion& asked, const std::vector<ShelvedBundle>& all) {
  const Manifest& manifest = bundle.manifest;
  const ManifestController& controller = manifest.controller();
  switch (asked.kind) {
    case CriterionKind::kTouches:
      return std::ranges::any_of(bundle.changes, [&](const Change& change) {
        if (change.place.memory != asked.text) return false;
        for (std::uint64_t at = asked.range.begin; at < asked.range.end; ++at) {
          if (change.place.range.contains(at)) return true;
        }
        return false;
      });
    case CriterionKind::kRegion:
      return std::ranges::any_of(bundle.changes,
                                 [&](const Change& change) { return change.region == asked.text; });
    case CriterionKind::kItem:
      return std::ranges::count(bundle.items, asked.text) != 0;
    case CriterionKind::kOption:
      return has_option(manifest, asked.text);
    case CriterionKind::kMap:
      return controller.map_digest == asked.digest;
    case CriterionKind::kStock:
      return built_on(bundle, asked.digest, all);
    case CriterionKind::kSoftware:
      return controller.identity[0].text == asked.text;
    case CriterionKind::kKey:
      return std::ranges::count(bundle.signers, asked.digest) != 0;
    case CriterionKind::kJob:
      return manifest.job == asked.text;
    case CriterionKind::kController:
      return controller.name == asked.text;
    case CriterionKind::kVehicle:
      return manifest.vehicle_reference == asked.text;
    case CriterionKind::kRevision:
      return manifest.revision == asked.number;
    case CriterionKind::kIdentity:
      return bundle.digest == asked.digest;
  }
  return false;
}

Criterion drawn_criterion(Random& random, CriterionKind kind, const ShelfWords& words,
                          const std::vector<ShelvedBundle>& all) {
  Criterion asked;
  asked.kind = kind;
  const ShelvedBundle& some = all[random.between(0, all.size() - 1)];
  switch (kind) {
    case CriterionKind::kTouches:
      asked.text = random.between(0, 9) == 0 ? "eeprom" : "flash";
      asked.range.begin = random.between(0x8000003c, 0x80000064);
      asked.range.end = asked.range.begin + random.between(1, 6);
      break;
    case CriterionKind::kRegion:
      asked.text = one_of(random, words.regions);
      break;
    case CriterionKind::kItem:
      asked.text = one_of(random, words.items);
      break;
    case CriterionKind::kOption:
      asked.text = one_of(random, words.options);
      break;
    case CriterionKind::kMap:
      asked.digest = digest_of(one_of(random, words.maps));
      break;
    case CriterionKind::kStock:
      asked.digest =
          random.coin() ? digest_of(one_of(random, words.files)) : some.manifest.controller().pinned_before;
      break;
    case CriterionKind::kSoftware:
      asked.text = one_of(random, words.numbers);
      break;
    case CriterionKind::kKey:
      asked.digest.bytes.fill(static_cast<std::uint8_t>(random.between(1, 4)));
      break;
    case CriterionKind::kJob:
      asked.text = one_of(random, words.jobs);
      break;
    case CriterionKind::kController:
      asked.text = one_of(random, words.controllers);
      break;
    case CriterionKind::kVehicle:
      asked.text = one_of(random, words.vehicles);
      break;
    case CriterionKind::kRevision:
      asked.number = random.between(0, 4);
      break;
    case CriterionKind::kIdentity:
      asked.digest = random.between(0, 9) == 0 ? digest_of("none") : some.digest;
      break;
  }
  return asked;
}

std::vector<std::string> scanned(std::vector<ShelvedBundle> all, const std::vector<Criterion>& question) {
  std::ranges::sort(all, {}, [](const ShelvedBundle& one) {
    return std::tuple(one.manifest.job, one.manifest.controller().name, one.manifest.sequence, one.path);
  });
  std::vector<std::string> paths;
  for (const ShelvedBundle& bundle : all) {
    if (std::ranges::all_of(question, [&](const Criterion& asked) { return fits(bundle, asked, all); }))
      paths.push_back(bundle.path);
  }
  return paths;
}

std::vector<std::string> found(const Index& index, const std::vector<Criterion>& question) {
  const auto rows = find_revisions(index, question, nullptr);
  EXPECT_THAT(rows, IsOk());
  std::vector<std::string> paths;
  if (!rows) return paths;
  for (const FoundRevision& row : *rows) paths.push_back(row.file);
  return paths;
}

// How many bundles were found for each kind of criterion: a question that nothing ever fits proves nothing.
using Answers = std::map<CriterionKind, std::size_t>;

void ask(Random& random, const Shelf& shelf, const Index& index, const ShelfWords& words, Answers& answers) {
  EXPECT_EQ(index.bundles, shelf.bundles.size());
  EXPECT_EQ(found(index, {}), scanned(shelf.bundles, {}));
  for (const CriterionWord& word : criterion_words()) {
    for (int i = 0; i < 6; ++i) {
      std::vector<Criterion> question{drawn_criterion(random, word.kind, words, shelf.bundles)};
      const std::vector<std::string> expected = scanned(shelf.bundles, question);
      answers[word.kind] += expected.size();
      EXPECT_EQ(found(index, question), expected) << word.word;
      // Joined by "and".
      const auto& other = criterion_words()[random.between(0, criterion_words().size() - 1)];
      question.push_back(drawn_criterion(random, other.kind, words, shelf.bundles));
      EXPECT_EQ(found(index, question), scanned(shelf.bundles, question))
          << word.word << " and " << other.word;
    }
  }
}

TEST(Find, AnswersAsAPlainScanWhateverHappensToTheFiles) {
  Random random;
  const ShelfWords words;
  Shelf shelf;
  Answers answers;
  const auto path = [&] {
    return "d" + std::to_string(random.between(0, 3)) + "/e" + std::to_string(random.between(0, 2)) + "/f" +
           std::to_string(random.between(0, 9));
  };
  for (int i = 0; i < 80; ++i) shelf.put(path(), drawn_bundle(random, words));
  for (int round = 0; round < 4; ++round) {
    auto index = open_index(shelf.folder(), {});
    ASSERT_THAT(index, IsOk());
    for (const UnreadFile& file : index->unread) ADD_FAILURE() << file.path << ": " << file.reason;
    ask(random, shelf, *index, words, answers);
    // New ones, others in the place of known ones, known ones gone.
    for (int i = 0; i < 8; ++i) shelf.put(path(), drawn_bundle(random, words));
    for (int i = 0; i < 5; ++i)
      shelf.take_away(shelf.bundles[random.between(0, shelf.bundles.size() - 1)].path);
  }
  for (const CriterionWord& word : criterion_words()) EXPECT_GT(answers[word.kind], 0U) << word.word;
  auto index = open_index(shelf.folder(), {true, {}, kLockWait});
  ASSERT_THAT(index, IsOk());
  ask(random, shelf, *index, words, answers);
}

}  // namespace
}  // namespace calseal
