#include "calseal/sign/keys_ahead.h"

#include <gtest/gtest.h>

#include "calseal/base/file.h"
#include "calseal/sign/seal.h"
#include "support/matchers.h"
#include "support/outside_tools.h"
#include "support/small_job.h"

namespace calseal {
namespace {

class KeysOnDisk : public ::testing::Test {
 protected:
  std::string write(const char* name, const PrivateKey& key, const char* passphrase = "word") const {
    const std::string path = folder.path(name);
    const auto pem = key.encrypted_pem(passphrase);
    if (!pem || !write_file(path, view_of(*pem), FileMode::kPrivate, Existing::kRefuse))
      throw std::runtime_error(path);
    return path;
  }
  ScratchFolder folder;
  SmallJob job;
};

TEST_F(KeysOnDisk, AreThoseOfTheFilesInTheirOrder) {
  KeysAhead ahead({write("b.key", job.reviewer), write("a.key", job.author)}, "word");
  for (int i = 0; i < 2; ++i) {
    const auto keys = ahead.get();
    ASSERT_THAT(keys, IsOk());
    ASSERT_EQ(keys->size(), 2U);
    EXPECT_EQ((*keys)[0].get().id(), job.reviewer.id());
    EXPECT_EQ((*keys)[1].get().id(), job.author.id());
  }
}

TEST_F(KeysOnDisk, AreTheSameWhereNoSecondCoreIsToBeHad) {
  const CoresTaken taken;
  KeysAhead ahead({write("a.key", job.author)}, "word");
  const auto keys = ahead.get();
  ASSERT_THAT(keys, IsOk());
  EXPECT_EQ(keys->front().get().id(), job.author.id());
}

TEST_F(KeysOnDisk, TheFirstThatDoesNotOpenIsTold) {
  const std::string good = write("a.key", job.author);
  KeysAhead wrong({good, write("b.key", job.reviewer, "another word"), folder.path("none")}, "word");
  EXPECT_THAT(wrong.get(), FailsWith(Reason::kPassphraseWrong));
  EXPECT_THAT(wrong.get(), FailsWith(Reason::kPassphraseWrong));
  KeysAhead missing({folder.path("none"), good}, "word");
  EXPECT_THAT(missing.get(), FailsWith(Reason::kFileMissing));
  KeysAhead none({}, "");
  ASSERT_THAT(none.get(), IsOk());
  EXPECT_TRUE(none.get()->empty());
}

TEST_F(KeysOnDisk, ASealIsTheSameWithKeysThatComeLater) {
  const SealRequest request = job.request(1, edited_small(job.base, 9));
  KeysAhead ahead({write("a.key", job.author)}, "word");
  const auto later = seal(
      request, [&] { return ahead.get(); }, job.trust);
  const auto at_once = seal(request, {job.author}, job.trust);
  ASSERT_THAT(later, IsOk());
  ASSERT_THAT(at_once, IsOk());
  EXPECT_EQ(later->file, at_once->file);
}

TEST_F(KeysOnDisk, ASealFailsWithTheirErrorAndAsksForNoneInVain) {
  const SealRequest request = job.request(1, edited_small(job.base, 9));
  KeysAhead wrong({write("a.key", job.author, "another word")}, "word");
  EXPECT_THAT(seal(
                  request, [&] { return wrong.get(); }, job.trust),
              FailsWith(Reason::kPassphraseWrong));
  EXPECT_THAT(seal(
                  request, [] { return SigningKeys(); }, job.trust),
              FailsWith(Reason::kUsage, "keys"));
  EXPECT_THAT(seal(request, SigningKeys(), job.trust), FailsWith(Reason::kUsage, "keys"));
  SealRequest outside = request;
  outside.result.memories[0].bytes[0] ^= 1;  // a locked byte
  bool asked = false;
  const auto refused = seal(
      outside,
      [&]() -> Result<SigningKeys> {
        asked = true;
        return SigningKeys{job.author};
      },
      job.trust);
  EXPECT_FALSE(refused.has_value());
  EXPECT_FALSE(asked);
}

}  // namespace
}  // namespace calseal
