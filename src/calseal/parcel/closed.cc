#include "calseal/parcel/closed.h"

#include <algorithm>

#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr std::string_view kInfo = "calseal parcel/1";
constexpr std::size_t kPieceSize = std::size_t{1} << 20;  // bytes of the parcel
constexpr std::size_t kBeginSize = kClosedMark.size() + 32;

// What is authenticated beside a piece: whether it is the last one.
ByteView aad_of(bool is_last) {
  static constexpr std::uint8_t kMarks[2] = {0, 1};
  return {&kMarks[is_last ? 1 : 0], 1};
}

tl::unexpected<Error> closed(const std::string& name, std::string place, std::string found) {
  return fail({Reason::kParcelClosed, name, std::move(place), std::move(found),
               "a parcel that was closed to this key, whole",
               "ask the customer with which sheet he made it, and for the file again"});
}

}  // namespace

bool begins_as_closed_parcel(ByteView beginning) { return text_of(beginning).starts_with(kClosedMark); }

Result<Bytes> close_parcel(ByteView parcel, const ParcelKey& to) {
  const std::optional<ParcelSecret> ephemeral = new_parcel_secret();
  if (!ephemeral)
    return fail({Reason::kInternal, "", "random", "no random bytes", "32 of them", "try again"});
  return close_parcel_with(parcel, to, *ephemeral);
}

Result<Bytes> close_parcel_with(ByteView parcel, const ParcelKey& to, const ParcelSecret& ephemeral) {
  std::optional<HpkeSender> sender = setup_sender(to, view_of(kInfo), ephemeral);
  if (!sender) return closed("", "parcel key", "a key to which nothing can be closed");
  Bytes out;
  out.reserve(kBeginSize + parcel.size() + (parcel.size() / kPieceSize + 1) * kHpkeTagSize);
  out.insert(out.end(), kClosedMark.begin(), kClosedMark.end());
  out.insert(out.end(), sender->enc.bytes.begin(), sender->enc.bytes.end());
  while (!parcel.empty()) {
    const ByteView piece = parcel.first(std::min(kPieceSize, parcel.size()));
    parcel = parcel.subspan(piece.size());
    const auto sealed = sender->context.seal(aad_of(parcel.empty()), piece);
    if (!sealed)
      return fail({Reason::kInternal, "", "sealing", "libcrypto refuses", "a sealed piece", "try again"});
    out.insert(out.end(), sealed->begin(), sealed->end());
  }
  return out;
}

Result<Bytes> open_closed_parcel(ByteView file, const ParcelSecret& secret, const std::string& name) {
  if (!begins_as_closed_parcel(file) || file.size() <= kBeginSize)
    return closed(name, "byte 0", "no closed parcel, or nothing in it");
  ParcelKey enc;
  std::copy_n(file.begin() + kClosedMark.size(), enc.bytes.size(), enc.bytes.begin());
  std::optional<HpkeContext> context = setup_receiver(enc, view_of(kInfo), secret);
  if (!context) return closed(name, "byte 17", "an ephemeral key that nobody made");
  Bytes out;
  ByteView rest = file.subspan(kBeginSize);
  for (std::uint64_t at = kBeginSize; !rest.empty();) {
    const ByteView piece = rest.first(std::min(kPieceSize + kHpkeTagSize, rest.size()));
    rest = rest.subspan(piece.size());
    const auto plain = context->open(aad_of(rest.empty()), piece);
    if (!plain || plain->empty())
      return closed(name, "byte " + std::to_string(at), "a piece that this key does not open");
    out.insert(out.end(), plain->begin(), plain->end());
    at += piece.size();
  }
  return out;
}

}  // namespace calseal
