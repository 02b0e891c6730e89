// Every bit of a bundle flipped, every length cut, a byte appended: nothing passes, and the reason is the one
// that the order of checks gives. Signatures here are made up, so that a change of signed bytes must be
// caught by what is below them.
#include <gtest/gtest.h>

#include <map>

#include "calseal/bundle/entries.h"
#include "calseal/bundle/prefix.h"
#include "support/matchers.h"
#include "support/sample_bundle.h"

namespace calseal {
namespace {

// The steps of a reader in this layer. What the signatures would catch is modelled by comparing with the true
// prefix.
Status open(ByteView file, const SampleBundle& sample, const std::string& text) {
  CALSEAL_ASSIGN(const BundlePrefix prefix, read_prefix(file, "b"));
  for (const PrefixSignature& signature : prefix.signatures) {
    const bool listed =
        std::any_of(sample.signatures.begin(), sample.signatures.end(),
                    [&](const PrefixSignature& one) { return one.key_id == signature.key_id; });
    if (!listed) return fail({Reason::kSignerUnknown, "b", "", "x", "x", "x"});
    if (text_of(prefix.manifest) != text) return fail({Reason::kSignatureBad, "b", "", "x", "x", "x"});
  }
  // The signed bytes are the true ones here; the sample is what they parse to (see the manifest's tests).
  const Manifest& manifest = sample.manifest;
  CALSEAL_ASSIGN(const Framing framing, verify_framing(file, prefix, manifest, "b"));
  CALSEAL_CHECK(verify_stored_digests(file, framing, manifest, "b"));
  for (std::size_t i = 0; i < manifest.entries.size(); ++i)
    CALSEAL_CHECK(read_content(file, framing, manifest, i, "b"));
  return {};
}

class Sweep : public ::testing::Test {
 protected:
  SampleBundle sample_ = make_sample_bundle();
  std::string text_ = write_manifest(sample_.manifest);
  Bytes file_ = assemble(sample_);
  Framing framing_ = compute_framing(view_of(text_), sample_.signatures, sample_.manifest);

  bool in_header(std::size_t entry, std::size_t at) const {
    return at >= framing_.header_offsets[entry] && at < framing_.content_offset(entry);
  }
  bool in_content(std::size_t entry, std::size_t at) const {
    return at >= framing_.content_offset(entry) &&
           at < framing_.content_offset(entry) + framing_.entries[entry].stored_size;
  }

  // The reason that a flipped bit at this byte must give.
  std::vector<Reason> expected(std::size_t at) const {
    if (in_header(0, at)) {
      const bool varies = at >= 14 && at < 26;
      return {varies ? Reason::kPrefixDamaged : Reason::kNotABundle};
    }
    if (in_content(0, at)) return {Reason::kPrefixDamaged};
    for (std::size_t s = 1; s <= 2; ++s) {
      if (in_content(s, at)) return {Reason::kPrefixDamaged};
      if (!in_header(s, at)) continue;
      const std::size_t from = at - framing_.header_offsets[s];
      const bool ends_the_list = from < 4 || (from >= 30 && from < 41);
      if (ends_the_list) return {s == 1 ? Reason::kSignatureMissing : Reason::kFramingDamaged};
      // A digit may become another digit, and the id then stands before or after its neighbour.
      if (from >= 41 && from < 105) return {Reason::kSignerUnknown, Reason::kPrefixDamaged};
      return {Reason::kPrefixDamaged};
    }
    for (std::size_t i = 3; i < framing_.entries.size(); ++i) {
      if (in_content(i, at)) return {Reason::kStoredDigest};
    }
    return {Reason::kFramingDamaged};
  }
};

TEST_F(Sweep, EveryBitFlip) {
  ASSERT_THAT(open(file_, sample_, text_), IsOk());
  ASSERT_THAT(parse_manifest(view_of(text_), "b"), IsOkAnd(sample_.manifest));
  std::map<Reason, std::size_t> seen;
  for (std::size_t at = 0; at < file_.size(); ++at) {
    for (int bit = 0; bit < 8; ++bit) {
      file_[at] = static_cast<std::uint8_t>(file_[at] ^ (1 << bit));
      const Status status = open(file_, sample_, text_);
      file_[at] = static_cast<std::uint8_t>(file_[at] ^ (1 << bit));
      ASSERT_FALSE(status.has_value()) << "byte " << at << " bit " << bit;
      ASSERT_THAT(expected(at), ::testing::Contains(status.error().reason))
          << "byte " << at << " bit " << bit << ": " << ::testing::PrintToString(status.error());
      ++seen[status.error().reason];
    }
  }
  for (const Reason reason : {Reason::kNotABundle, Reason::kPrefixDamaged, Reason::kSignatureMissing,
                              Reason::kSignerUnknown, Reason::kFramingDamaged, Reason::kStoredDigest}) {
    EXPECT_GT(seen[reason], 0U) << code(reason);
  }
}

TEST_F(Sweep, EveryTruncation) {
  const std::size_t first_signature = framing_.header_offsets[1];
  const std::size_t second_signature = framing_.header_offsets[2];
  for (std::size_t size = 0; size < file_.size(); ++size) {
    const Status status = open(ByteView(file_).first(size), sample_, text_);
    ASSERT_FALSE(status.has_value()) << size;
    Reason wanted = Reason::kFramingDamaged;
    if (size < kBundleSizeLeast) {
      wanted = Reason::kBundleSize;
    } else if (size < first_signature) {
      wanted = Reason::kPrefixDamaged;
    } else if (size < first_signature + 41) {
      wanted = Reason::kSignatureMissing;
    } else if (size < second_signature) {
      wanted = Reason::kPrefixDamaged;
    } else if (size >= second_signature + 41 && size < framing_.header_offsets[3]) {
      wanted = Reason::kPrefixDamaged;
    }
    ASSERT_EQ(code(status.error().reason), code(wanted)) << size;
  }
}

TEST_F(Sweep, EveryAppendedByte) {
  file_.push_back(0);
  for (int value = 0; value < 256; ++value) {
    file_.back() = static_cast<std::uint8_t>(value);
    ASSERT_THAT(open(file_, sample_, text_), FailsWith(Reason::kFramingDamaged));
  }
}

TEST_F(Sweep, EveryByteRemovedOrDoubled) {
  for (std::size_t at = 0; at < file_.size(); ++at) {
    Bytes shorter = file_;
    shorter.erase(shorter.begin() + static_cast<std::ptrdiff_t>(at));
    ASSERT_FALSE(open(shorter, sample_, text_).has_value()) << at;
    Bytes longer = file_;
    longer.insert(longer.begin() + static_cast<std::ptrdiff_t>(at), file_[at]);
    ASSERT_FALSE(open(longer, sample_, text_).has_value()) << at;
  }
}

}  // namespace
}  // namespace calseal
