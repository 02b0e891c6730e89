#include "calseal/map/corrected_image.h"

#include <algorithm>
#include <utility>

#include "calseal/digest/patch_sum.h"
#include "calseal/map/correct_group.h"
#include "calseal/map/verify.h"

namespace calseal {
namespace {

bool is_patchable(const Algorithm& algorithm) {
  if (algorithm.kind == AlgorithmKind::kCrc) return true;
  // With an end-around carry zero has two faces, and the value tells which only by adding it all up again.
  return algorithm.kind == AlgorithmKind::kSum && algorithm.sum.operation != SumOperation::kAddEndAround;
}

bool ends_before(const Place& a, const Place& b) {
  return a.memory < b.memory || (a.memory == b.memory && a.range.end <= b.range.begin);
}

}  // namespace

CorrectedImage::Kept CorrectedImage::keep(const PlanNode& node) const {
  Kept kept;
  if (node.is_copy) return kept;
  const Checksum& checksum = plan_->map->checksums[node.index];
  const bool by_equations =
      checksum.rule && !(checksum.algorithm.kind == AlgorithmKind::kSum &&
                         checksum.algorithm.sum.operation == SumOperation::kAdd && checksum.rule->balance);
  if (!is_patchable(checksum.algorithm) || by_equations || checksum.swap != 0) return kept;
  for (const MessagePiece& piece : node.message.pieces()) {
    if (piece.kind != MessagePiece::Kind::kMemory) continue;
    kept.runs.push_back({piece.memory, {piece.address, piece.address + piece.size}, piece.offset});
  }
  const auto place = [](const Run& run) { return std::pair(run.memory, run.range.begin); };
  std::sort(kept.runs.begin(), kept.runs.end(),
            [&](const Run& a, const Run& b) { return place(a) < place(b); });
  const auto overlapping = std::adjacent_find(
      kept.runs.begin(), kept.runs.end(),
      [](const Run& a, const Run& b) { return a.memory == b.memory && a.range.end > b.range.begin; });
  if (overlapping != kept.runs.end()) return Kept{};
  if (checksum.rule) {
    kept.balance = balance_word_addresses(node, *checksum.rule->balance);
    if (!kept.balance) return Kept{};
  }
  kept.patched = true;
  kept.value = compute_value(*plan_, node, image_);
  return kept;
}

Result<CorrectedImage> CorrectedImage::make(const Plan& plan, Image image) {
  CorrectedImage made(plan, std::move(image));
  CALSEAL_ASSIGN(made.first_report_, correct(plan, made.image_));
  made.provable_.reserve(plan.order.size());
  for (const PlanGroup& group : plan.order) {
    made.provable_.push_back(std::none_of(group.nodes.begin(), group.nodes.end(), [&](std::size_t index) {
      const auto& unknown = made.first_report_.not_provable;
      return std::find(unknown.begin(), unknown.end(), plan.nodes[index].name) != unknown.end();
    }));
  }
  made.kept_.resize(plan.nodes.size());
  for (std::size_t i = 0; i < plan.order.size(); ++i) {
    const PlanGroup& group = plan.order[i];
    if (!made.provable_[i]) continue;
    Kept& kept = made.kept_[group.nodes.front()];
    if (!group.joint) kept = made.keep(plan.nodes[group.nodes.front()]);
    if (!kept.patched) kept.system = make_joint_system(plan, group);
  }
  return made;
}

void CorrectedImage::Changes::clear(std::size_t memories) {
  places.clear();
  node.clear();
  at.clear();
  before.clear();
  after.clear();
  dirty.resize(memories);
  for (RangeSet& set : dirty) set.clear();
  in_order = 0;
}

void CorrectedImage::Changes::add(std::size_t who, const Place& place, ByteView was, ByteView is) {
  if (in_order == places.size() && (places.empty() || ends_before(places.back(), place))) ++in_order;
  node.push_back(who);
  places.push_back(place);
  at.push_back(before.size());
  before.insert(before.end(), was.begin(), was.end());
  after.insert(after.end(), is.begin(), is.end());
  dirty[place.memory].add(place.range);
}

ByteView CorrectedImage::Changes::before_of(std::size_t i) const {
  return ByteView(before).subspan(at[i], static_cast<std::size_t>(places[i].range.size()));
}

ByteView CorrectedImage::Changes::after_of(std::size_t i) const {
  return ByteView(after).subspan(at[i], static_cast<std::size_t>(places[i].range.size()));
}

bool CorrectedImage::reaches(const PlanNode& node) const {
  for (std::size_t memory = 0; memory < changes_.dirty.size(); ++memory) {
    if (changes_.dirty[memory].empty()) continue;
    for (const Range& range : node.reads[memory].ranges()) {
      if (changes_.dirty[memory].overlaps(range)) return true;
    }
  }
  return std::any_of(node.writes.begin(), node.writes.end(),
                     [&](const Place& place) { return changes_.dirty[place.memory].overlaps(place.range); });
}

void CorrectedImage::patch(std::size_t index, std::size_t first) {
  const PlanNode& node = plan_->nodes[index];
  Kept& kept = kept_[index];
  const Algorithm& algorithm = plan_->map->checksums[node.index].algorithm;
  if (kept.runs.empty()) return;
  std::vector<CrcChange>& touched = touched_;
  touched.clear();
  const auto touch = [&](const Run& run, std::size_t i) {
    const Place& changed = changes_.places[i];
    const Range part = intersect(run.range, changed.range);
    const auto from = static_cast<std::size_t>(part.begin - changed.range.begin);
    const auto size = static_cast<std::size_t>(part.size());
    touched.push_back({run.offset + (part.begin - run.range.begin), changes_.before_of(i).subspan(from, size),
                       changes_.after_of(i).subspan(from, size)});
  };
  if (first < changes_.in_order) {
    for (const Run& run : kept.runs) {
      const auto begin = changes_.places.begin();
      auto at = std::upper_bound(
          begin + static_cast<std::ptrdiff_t>(first), begin + static_cast<std::ptrdiff_t>(changes_.in_order),
          std::pair(run.memory, run.range.begin), [](const auto& value, const Place& place) {
            return value < std::pair(place.memory, place.range.end);
          });
      for (; at != begin + static_cast<std::ptrdiff_t>(changes_.in_order) && at->memory == run.memory &&
             at->range.begin < run.range.end;
           ++at)
        touch(run, static_cast<std::size_t>(at - begin));
    }
  }
  for (std::size_t i = std::max(first, changes_.in_order); i < changes_.places.size(); ++i) {
    const Place& changed = changes_.places[i];
    auto run =
        std::upper_bound(kept.runs.begin(), kept.runs.end(), changed, [](const Place& place, const Run& r) {
          return std::pair(place.memory, place.range.begin) < std::pair(r.memory, r.range.end);
        });
    for (; run != kept.runs.end() && run->memory == changed.memory && run->range.begin < changed.range.end;
         ++run)
      touch(*run, i);
  }
  if (touched.empty()) return;
  if (algorithm.kind == AlgorithmKind::kCrc) {
    kept.value.number = crc_of(algorithm.crc).patch(kept.value.number, node.message.length(), touched);
    return;
  }
  kept.value.number = patch_sum(algorithm.sum, kept.value.number, touched);
}

Bytes CorrectedImage::balanced(const Kept& kept, const Checksum& checksum) const {
  const Range range = checksum.rule->balance->range;
  const ByteView present = image_.memories[checksum.rule->balance->memory].view(range);
  const auto at = [&](std::size_t i) { return static_cast<std::size_t>((*kept.balance)[i] - range.begin); };
  Bytes word(present.size());
  for (std::size_t i = 0; i < word.size(); ++i) word[i] = present[at(i)];
  const ByteOrder order = checksum.algorithm.sum.order;
  const std::uint64_t without = kept.value.number - decode_word(word, order);
  word = encode_word(balance_word(checksum, without), word.size(), order);
  Bytes bytes(word.size());
  for (std::size_t i = 0; i < word.size(); ++i) bytes[at(i)] = word[i];
  return bytes;
}

void CorrectedImage::put(std::size_t who, const Place& place, ByteView bytes) {
  const std::span<std::uint8_t> there = image_.memories[place.memory].span(place.range);
  if (std::ranges::equal(there, bytes)) return;
  changes_.add(who, place, there, bytes);
  std::ranges::copy(bytes, there.begin());
}

void CorrectedImage::undo() {
  for (std::size_t i = changes_.places.size(); i > 0; --i) {
    put_bytes(image_, changes_.places[i - 1], changes_.before_of(i - 1));
  }
}

void CorrectedImage::correct_patched(std::size_t index) {
  const Kept& kept = kept_[index];
  const Checksum& checksum = plan_->map->checksums[plan_->nodes[index].index];
  patch(index, 0);
  if (!checksum.rule) {
    // A checksum that covers its own slot is solved by equations, so what is put changes no value here.
    const CheckValue result = finish_value(checksum, kept.value);
    for (const Slot& slot : checksum.slots) {
      put(index, slot.place, encode_slot(checksum.algorithm, slot, result));
    }
    return;
  }
  const std::uint64_t wanted = unfinish_number(checksum, checksum.rule->equals);
  if (wanted == (kept.value.number & low_mask(checksum.bits))) return;
  const std::size_t done = changes_.places.size();
  put(index, *checksum.rule->balance, balanced(kept, checksum));
  patch(index, done);
}

void CorrectedImage::correct_copy(std::size_t index) {
  const Copy& copy = plan_->map->copies[plan_->nodes[index].index];
  const auto part_of = [&](const Place& whole) {
    RangeSet parts;
    for (const Range& range : changes_.dirty[whole.memory].within(whole.range).ranges()) {
      parts.add({range.begin - whole.range.begin, range.end - whole.range.begin});
    }
    return parts;
  };
  RangeSet parts = part_of(copy.of);
  parts.add(part_of(copy.to));
  for (const Range& part : parts.ranges()) {
    const Range from{copy.of.range.begin + part.begin, copy.of.range.begin + part.end};
    Bytes bytes = take_bytes(image_, {copy.of.memory, from});
    for (std::uint8_t& byte : bytes) byte = copied_byte(copy, byte);
    put(index, {copy.to.memory, {copy.to.range.begin + part.begin, copy.to.range.begin + part.end}}, bytes);
  }
}

Status CorrectedImage::correct_whole(const PlanGroup& group) {
  const bool holds = std::all_of(group.nodes.begin(), group.nodes.end(), [&](std::size_t index) {
    return verify_check(*plan_, index, image_).state == CheckState::kHolds;
  });
  if (holds) return {};
  struct Written {
    std::size_t node;
    Place place;
    Bytes before;
  };
  std::vector<Written> all;
  for (const std::size_t index : group.nodes) {
    for (const Place& place : plan_->nodes[index].writes) {
      all.push_back({index, place, take_bytes(image_, place)});
    }
  }
  const std::optional<JointSystem>& system = kept_[group.nodes.front()].system;
  Status status = correct_group(*plan_, group, image_, system ? &*system : nullptr);
  for (const Written& written : all) {
    const ByteView after = image_.memories[written.place.memory].view(written.place.range);
    if (std::ranges::equal(after, written.before)) continue;
    changes_.add(written.node, written.place, written.before, after);
  }
  return status;
}

Status CorrectedImage::correct_one(const PlanGroup& group) {
  const PlanNode& node = plan_->nodes[group.nodes.front()];
  if (kept_[group.nodes.front()].patched) {
    correct_patched(group.nodes.front());
    return {};
  }
  if (!group.joint && node.is_copy) {
    correct_copy(group.nodes.front());
    return {};
  }
  return correct_whole(group);
}

Result<CorrectionReport> CorrectedImage::edit(const std::vector<Edit>& edits) {
  CorrectionReport report;
  report.not_provable = first_report_.not_provable;
  changes_.clear(image_.memories.size());
  values_.clear();
  for (const Kept& kept : kept_) values_.push_back(kept.value);
  // They lie far apart: asked for together, their bytes come together.
  for (const Edit& edit : edits)
    __builtin_prefetch(image_.memories[edit.place.memory].view(edit.place.range).data(), 1);
  for (const Edit& edit : edits) put(kEditor, edit.place, edit.bytes);
  for (std::size_t i = 0; i < plan_->order.size(); ++i) {
    const PlanGroup& group = plan_->order[i];
    if (!provable_[i] || std::none_of(group.nodes.begin(), group.nodes.end(),
                                      [&](std::size_t index) { return reaches(plan_->nodes[index]); })) {
      continue;
    }
    const std::size_t done = changes_.places.size();
    if (Status status = correct_one(group); !status) {
      undo();
      for (std::size_t k = 0; k < kept_.size(); ++k) kept_[k].value = values_[k];
      return fail(std::move(status).error());
    }
    for (std::size_t k = done; k < changes_.places.size(); ++k) {
      const ByteView before = changes_.before_of(k);
      const ByteView after = changes_.after_of(k);
      report.corrections.push_back({plan_->nodes[changes_.node[k]].name, changes_.places[k],
                                    Bytes(before.begin(), before.end()), Bytes(after.begin(), after.end())});
    }
  }
  return report;
}

}  // namespace calseal
