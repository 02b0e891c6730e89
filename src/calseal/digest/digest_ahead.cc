#include "calseal/digest/digest_ahead.h"

#include <algorithm>
#include <exception>

#include "calseal/digest/worth_a_thread.h"

namespace calseal {
namespace {

constexpr std::size_t kPiece = std::size_t{128}
                               << 10;  // bytes between two looks at whether it is still wanted

}  // namespace

bool DigestAhead::is_worth_it(std::size_t size) { return size >= kWorthAThread && OtherCore::is_there(); }

DigestAhead::DigestAhead(ByteView bytes, std::size_t settled)
    : bytes_(bytes), settled_(std::min(settled, bytes.size())) {
  if (!is_worth_it(settled_)) return;
  other_.start([this] { run(); });
}

DigestAhead::~DigestAhead() { stop_ = true; }

void DigestAhead::run() {
  try {
    while (done_ < settled_ && !stop_) {
      const std::size_t size = std::min(kPiece, settled_ - done_);
      hasher_.update(bytes_.subspan(done_, size));
      done_ += size;
    }
  } catch (const std::exception&) {
    failed_ = true;  // finish() begins anew, and fails where an exception can be told
  }
}

Sha256 DigestAhead::finish() {
  other_.join();
  if (failed_) return compute_sha256(bytes_);
  hasher_.update(bytes_.subspan(done_));
  done_ = bytes_.size();
  return hasher_.finish();
}

}  // namespace calseal
