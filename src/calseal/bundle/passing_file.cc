#include "calseal/bundle/passing_file.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/framing_compare.h"

namespace calseal {

PassingFile::PassingFile(const Framing& framing, const Manifest& manifest, std::string name,
                         Sha256Streams& streams)
    : framing_(framing), manifest_(manifest), name_(std::move(name)), streams_(streams) {
  begin_literal();
}

PassingFile::~PassingFile() {
  for (const std::size_t message : messages_) streams_.drop(message);
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
  // Manifest and signatures were verified as such.
  if (entry_ >= framing_.first_listed) {
    messages_.reserve(manifest_.entries.size());
    messages_.push_back(streams_.begin());
  }
  if (content_left_ == 0) end_content();
}

std::size_t PassingFile::take_content(ByteView piece) {
  const auto count = static_cast<std::size_t>(std::min<std::uint64_t>(piece.size(), content_left_));
  if (entry_ >= framing_.first_listed) streams_.update(messages_.back(), piece.first(count));
  content_left_ -= count;
  if (content_left_ == 0) end_content();
  return count;
}

void PassingFile::end_content() {
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
  return judge_digests();
}

Status PassingFile::judge_digests() {
  std::vector<std::size_t> messages;
  messages.swap(messages_);
  Status status;
  for (std::size_t i = 0; i < messages.size(); ++i) {
    const Sha256 found = streams_.finish(messages[i]);
    const ManifestEntry& entry = manifest_.entries[i];
    if (status && found != entry.stored_digest) status = wrong_stored_digest(entry, found, name_);
  }
  return status;
}

}  // namespace calseal
