// The two small vocabularies that the region map, the manifest and the verdict share.
#pragma once

#include <array>
#include <cstdint>
#include <string_view>

namespace calseal {

// What decides over the bytes of a span. A span is a run of bytes of one kind, cut at every edge of region,
// slot, binding field, memory and known/unknown.
enum class SpanKind : std::uint8_t {
  kLocked,    // must equal the base, permitted patches apart
  kEditable,  // a revision may change it
  kDerived,   // slot, balance or copy whose right value depends on pinned bytes only
  kFloating,  // the same, but reached by volatile bytes: has another right value in every read
  kVolatile,  // belongs to the vehicle
  kBinding,   // identity field that tells one vehicle from another
};
inline constexpr std::array<std::string_view, 6> kSpanKindNames{"locked",   "editable", "derived",
                                                                "floating", "volatile", "binding"};
inline std::string_view span_kind_name(SpanKind kind) {
  return kSpanKindNames[static_cast<std::size_t>(kind)];
}

// Locked, editable and derived spans are pinned: the same in every read of one revision.
inline bool is_pinned(SpanKind kind) {
  return kind == SpanKind::kLocked || kind == SpanKind::kEditable || kind == SpanKind::kDerived;
}

// Whether a checksum or copy is right. Not provable: bytes it needs are unknown; never counted as holding.
enum class CheckState : std::uint8_t { kHolds, kFails, kNotProvable };
inline constexpr std::array<std::string_view, 3> kCheckStateNames{"holds", "fails", "not-provable"};
inline std::string_view check_state_name(CheckState state) {
  return kCheckStateNames[static_cast<std::size_t>(state)];
}

}  // namespace calseal
