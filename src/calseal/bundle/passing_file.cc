#include "calseal/bundle/passing_file.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/framing_compare.h"

namespace calseal {

PassingFile::PassingFile(const Framing& framing, const Manifest& manifest, std::string name)
    : framing_(framing), manifest_(manifest), name_(std::move(name)) {
  begin_literal();
}

void PassingFile::begin_literal() {
  in_literal_ = true;
  found_.clear();
  if (entry_ == framing_.entries.size()) {
    literal_at_ = framing_.directory_offset;
    expected_ = central_directory(framing_);
  } else {
    literal_at_ = framing_.header_offsets[entry_];
    expected_ = local_header(framing_.entries[entry_]);
  }
}

void PassingFile::take(ByteView piece) {
  while (!piece.empty() && !past_end_) {
    const std::size_t taken = in_literal_ ? take_literal(piece) : take_content(piece);
    piece = piece.subspan(taken);
  }
}

std::size_t PassingFile::take_literal(ByteView piece) {
  const bool at_end = entry_ == framing_.entries.size() && found_.size() == expected_.size();
  if (at_end) {
    past_end_ = true;
    return 0;
  }
  const std::size_t count = std::min(piece.size(), expected_.size() - found_.size());
  found_.insert(found_.end(), piece.begin(), piece.begin() + static_cast<std::ptrdiff_t>(count));
  if (found_.size() == expected_.size()) end_literal();
  return count;
}

void PassingFile::end_literal() {
  const std::string what = entry_ == framing_.entries.size()
                               ? "central directory"
                               : "header of " + printable(framing_.entries[entry_].name, 160);
  if (!framing_fault_) {
    if (Status same = compare_framing(found_, literal_at_, expected_, what, name_); !same)
      framing_fault_ = std::move(same).error();
  }
  if (entry_ == framing_.entries.size()) return;
  in_literal_ = false;
  content_left_ = framing_.entries[entry_].stored_size;
  if (content_left_ == 0) end_content();
}

std::size_t PassingFile::take_content(ByteView piece) {
  const auto count = static_cast<std::size_t>(std::min<std::uint64_t>(piece.size(), content_left_));
  // Manifest and signatures were verified as such.
  if (entry_ >= framing_.first_listed) hasher_.update(piece.first(count));
  content_left_ -= count;
  if (content_left_ == 0) end_content();
  return count;
}

void PassingFile::end_content() {
  if (entry_ >= framing_.first_listed) {
    const ManifestEntry& entry = manifest_.entries[entry_ - framing_.first_listed];
    const Sha256 digest = hasher_.finish();
    if (digest != entry.stored_digest && !digest_fault_)
      digest_fault_ = wrong_stored_digest(entry, digest, name_).value();
  }
  ++entry_;
  begin_literal();
}

Status PassingFile::finish() {
  // What did not pass is missing: the next literal is the first that says so.
  while (!framing_fault_ && !(entry_ == framing_.entries.size() && found_.size() == expected_.size())) {
    if (!in_literal_) {
      ++entry_;
      begin_literal();
    }
    if (found_.size() < expected_.size()) end_literal();
  }
  if (framing_fault_) return fail(*framing_fault_);
  if (past_end_) return framing_goes_on(framing_.total_size, name_);
  if (digest_fault_) return fail(*digest_fault_);
  return {};
}

}  // namespace calseal
