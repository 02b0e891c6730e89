// What a holder of a listed key can put behind a true signature, and what opening makes of it.
#include "calseal/check/open.h"

#include <gtest/gtest.h>

#include "calseal/base/text.h"
#include "support/bent_bundle.h"
#include "support/forgery.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

SealedBundle with_attachment(const SmallJob& job) {
  SealRequest request = job.request(1, edited_small(job.base, 9));
  request.statement.attachments = {{"log.txt", "Log", Bytes(5000, 'l')}};
  return *seal(request, {job.author}, job.trust);
}

// Nobody reads an attachment to judge a revision, and still it must be what was sealed.
TEST(Open, AnAttachmentMustBeWhatItsDigestSays) {
  const SmallJob job;
  const SealedBundle sealed = with_attachment(job);
  BentBundle bent(sealed);
  bent.store("attachments/log.txt", *deflate_content(Bytes(5000, 'm'))).sign({job.author});
  EXPECT_THAT(job.check(bent.file(), job.base), IsRefused(Reason::kContentDigest));
}

TEST(Open, WithoutAKeyContentsAreProvedAllTheSame) {
  const SmallJob job;
  const SealedBundle sealed = with_attachment(job);
  ASSERT_THAT(open_unverified(sealed.file, "b"), IsOk());
  BentBundle damaged(sealed);
  damaged.stored[damaged.index_of("attachments/log.txt")][3] ^= 1U;
  EXPECT_THAT(open_unverified(damaged.file(), "b"), FailsWith(Reason::kStoredDigest));
  BentBundle lying(sealed);
  lying.store("attachments/log.txt", *deflate_content(Bytes(5000, 'm')));
  EXPECT_THAT(open_unverified(lying.file(), "b"), FailsWith(Reason::kContentDigest));
}

// The manifest's memories and the region map's must be the same ones, also in number.
TEST(Open, ARegionMapWithAMemoryMore) {
  const SmallJob job;
  Forgery forgery = take_apart(*job.seal_revision(1, edited_small(job.base, 9)));
  Bytes& map = forgery.content("regions/engine.json");
  const std::string text = replaced(std::string(text_of(map)), R"(],
"recognise")",
                                    R"(,{"name":"more","origin":"0x00000000","size":64}],
"recognise")");
  map.assign(text.begin(), text.end());
  forgery.controller().map_digest = compute_sha256(map);
  EXPECT_THAT(job.check(put_together(forgery, {job.author}), job.base),
              IsRefusedAt(Reason::kClaimMismatch, "controllers/0/memories"));
}

// A permitted patch goes in whole: half of it, sealed by a listed key and with true digests, is refused for
// what it is.
TEST(Open, HalfAPatchIsRefused) {
  const SmallJob job;
  Forgery forgery = take_apart(*job.seal_revision(1, edited_small(job.base, 9)));
  const PayloadPart& part = forgery.controller().payload.at(0);
  Bytes& payload = forgery.content(part.entry);
  std::uint64_t at = 0;
  for (const Range& range : part.ranges) {
    if (range.contains(kFlash + 0x28)) at += kFlash + 0x28 - range.begin;
    if (range.end > kFlash + 0x28) break;
    at += range.size();
  }
  ASSERT_EQ(payload.at(at), 0x11) << "the patch as it was";
  payload[at] = 0x33;
  SmallImage half = job.base;
  half.flash[0x28] = 0x33;
  ManifestSpan& span = forgery.span("flash", kFlash + 0x28);
  span.after =
      compute_sha256(ByteView(half.flash).subspan(span.place.range.begin - kFlash, span.place.range.size()));
  forgery.controller().patches.at(0).in_result = true;
  EXPECT_THAT(job.check(put_together(forgery, {job.author}), job.base),
              IsRefusedAt(Reason::kClaimMismatch, "changes.json"));
  // A list that tells of the whole patch: then the locked bytes are not those of a patch that stands whole.
  std::vector<Change> changes = *parse_changes(forgery.content(kChangesName), "c");
  changes.insert(changes.begin(), {{"flash", {kFlash + 0x28, kFlash + 0x2a}}, "", ""});
  const std::string text = write_changes(changes);
  forgery.content(kChangesName).assign(text.begin(), text.end());
  EXPECT_THAT(job.check(put_together(forgery, {job.author}), job.base), IsRefused(Reason::kReadForeign));
}

}  // namespace
}  // namespace calseal
