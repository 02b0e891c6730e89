#include "calseal/digest/digests_begun.h"

#include <algorithm>
#include <exception>
#include <utility>

#include "calseal/digest/worth_a_thread.h"

namespace calseal {
namespace {

constexpr std::size_t kPiece = std::size_t{64} << 10;  // bytes between two looks at whether to go on

}  // namespace

DigestsBegun::DigestsBegun(std::vector<ByteView> parts) : parts_(std::move(parts)) {
  std::size_t total = 0;
  for (const ByteView& part : parts_) total += part.size();
  if (total < kWorthAThread || !OtherCore::is_there()) return;
  digests_.reserve(parts_.size());
  other_.start([this] { run(); });
}

DigestsBegun::~DigestsBegun() { stop_ = true; }

void DigestsBegun::run() {
  try {
    for (const ByteView& part : parts_) {
      for (done_ = 0; done_ < part.size();) {
        if (stop_) return;
        const std::size_t size = std::min(kPiece, part.size() - done_);
        hasher_.update(part.subspan(done_, size));
        done_ += size;
      }
      digests_.push_back(hasher_.finish());
      done_ = 0;
    }
  } catch (const std::exception&) {
    done_ = 0;  // whoever hashes the part anew fails where an exception can be told
  }
}

void DigestsBegun::pause() {
  stop_ = true;
  other_.join();
}

std::optional<Sha256> DigestsBegun::finish(std::size_t part, ByteView bytes) {
  pause();
  if (part < digests_.size()) return digests_[part];
  if (part > digests_.size() || done_ == 0) return std::nullopt;
  hasher_.update(bytes.subspan(std::exchange(done_, 0)));
  return hasher_.finish();
}

}  // namespace calseal
