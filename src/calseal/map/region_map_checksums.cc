// Reading checksum declarations: coverage, slots and rule, and what each of them says about
// itself. Algorithms are in region_map_algorithm.cc, the geometry of the whole checksum in
// region_map_arithmetic.cc.
#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/map/region_map_draft.h"

namespace calseal::region_map_draft {
namespace {

// A checksum as declared: the first of its repetition, and how far each place moves from one to the next.
struct Declared {
  Checksum first;
  std::uint64_t count = 1;
  bool repeats = false;
  std::vector<std::uint64_t> coverage_strides, substitute_strides, slot_strides;
  std::uint64_t balance_stride = 0;
  bool own_records = false;  // each of the repetition reads its own record of the tables
  ChecksumOrigin origin;
};

void contradict(Draft& draft, const JsonNode& where, std::string found, std::string expected,
                std::string next) {
  draft.refuse(Phase::kChecksums, Reason::kMapChecksum, where, std::move(found), std::move(expected),
               std::move(next));
}

// Refuses more places than the limit before anything of their number is built.
bool take_places(Draft& draft, const JsonNode& where, std::uint64_t places) {
  if (places <= kChecksumPlaceLimit - draft.checksum_places) {
    draft.checksum_places += static_cast<std::size_t>(places);
    return true;
  }
  where.refuse(Reason::kJsonValue,
               std::to_string(draft.checksum_places + places) + " places in checksums after repetition",
               "at most " + std::to_string(kChecksumPlaceLimit));
  return false;
}

// Optional "stride" of a place in a checksum that repeats.
std::uint64_t read_stride(Draft& draft, JsonObject& object, const Declared& declared) {
  const auto node = object.optional("stride");
  if (!node) return 0;
  const std::uint64_t stride = node->number(1, kAddressLimit);
  if (!declared.repeats) {
    contradict(draft, *node, "a stride, and no repetition", "\"stride\" only in a checksum with \"repeat\"",
               "remove the stride, or say how often the checksum repeats");
  }
  return stride;
}

// A place of which the whole repetition was judged.
Place read_repeated(Draft& draft, JsonObject& object, const Declared& declared, std::string_view start,
                    std::uint64_t& stride, std::optional<std::uint64_t> size = std::nullopt) {
  const std::size_t memory = read_memory(draft, object);
  const std::uint64_t begin = object.address(start);
  const std::uint64_t bytes = size ? *size : read_size(object);
  stride = read_stride(draft, object, declared);
  return {memory, read_range(draft, object.node(), memory, begin, bytes, declared.count, stride)};
}

DescriptorTable read_table(Draft& draft, const JsonNode& node, Declared& declared) {
  JsonObject object(node);
  DescriptorTable table;
  table.memory = read_memory(draft, object);
  table.at = object.address("at");
  table.records = object.number("records", 1, kMapItemLimit);
  table.record_size = object.number("record_size", 1, kAddressLimit);
  table.order = read_order(object, true);
  table.start_at = object.number("start_at", 0, kAddressLimit);
  table.end_at = object.number("end_at", 0, kAddressLimit);
  table.end = static_cast<DescriptorTable::End>(object.choice("end", {"last", "after", "length"}));
  table.points_into = read_memory(draft, object, "points_into");
  if (object.has("skip_blank")) table.skip_blank = object.boolean("skip_blank");
  bool own = false;
  if (const auto record = object.optional("record")) own = record->choice({"all", "own"}) == 1;
  object.done();
  declared.own_records = own;

  read_range(draft, node, table.memory, table.at, table.records * table.record_size);
  constexpr std::uint64_t kValueSize = 4;
  if (table.start_at + kValueSize > table.record_size || table.end_at + kValueSize > table.record_size) {
    contradict(draft, node,
               "records of " + std::to_string(table.record_size) + " bytes with values at " +
                   std::to_string(table.start_at) + " and " + std::to_string(table.end_at),
               "both 32-bit values inside the record", "correct record_size, start_at or end_at");
  } else if (Range{table.start_at, table.start_at + kValueSize}.overlaps(
                 {table.end_at, table.end_at + kValueSize})) {
    contradict(draft, node,
               "values at " + std::to_string(table.start_at) + " and " + std::to_string(table.end_at),
               "two 32-bit values that do not share bytes", "correct start_at or end_at");
  }
  if (own && !declared.repeats) {
    contradict(draft, node, "\"record\": \"own\", and no repetition",
               "\"own\" only in a checksum with \"repeat\"",
               "say how often the checksum repeats, or read all records");
  } else if (own && table.records < declared.count) {
    contradict(
        draft, node,
        std::to_string(table.records) + " records for " + std::to_string(declared.count) + " checksums",
        "a record for each", "correct records or repeat");
  }
  return table;
}

void read_coverage(Draft& draft, JsonObject& object, Declared& declared) {
  const auto list = object.required("coverage");
  if (!list) return;
  const auto nodes = list->items(kMapItemLimit);
  if (nodes.empty()) list->refuse(Reason::kJsonValue, "no coverage", "at least one range, literal or table");
  if (!take_places(draft, *list, nodes.size() * declared.count)) return;
  for (const JsonNode& node : nodes) {
    JsonObject item(node);
    std::uint64_t stride = 0;
    if (item.has("literal")) {
      declared.first.coverage.push_back(CoverageLiteral{read_bytes(item, "literal", kLiteralLimit)});
    } else if (const auto written = item.optional("table")) {
      declared.own_records = false;
      CoverageTable table{read_table(draft, *written, declared), std::nullopt};
      if (declared.own_records) {
        table.record = 0;
      } else if (!take_places(draft, *written, table.table.records * declared.count)) {
        return;
      }
      declared.first.coverage.push_back(std::move(table));
    } else {
      declared.first.coverage.push_back(CoverageRange{read_repeated(draft, item, declared, "start", stride)});
    }
    item.done();
    declared.coverage_strides.push_back(stride);
    declared.origin.coverage.push_back(draft.keep(node));
  }
}

void read_substitutes(Draft& draft, JsonObject& object, Declared& declared) {
  const auto list = object.optional("substitute");
  if (!list) return;
  const auto nodes = list->items(kMapItemLimit);
  if (!take_places(draft, *list, nodes.size() * declared.count)) return;
  for (const JsonNode& node : nodes) {
    JsonObject item(node);
    std::uint64_t stride = 0;
    Substitute substitute;
    substitute.place = read_repeated(draft, item, declared, "start", stride);
    substitute.as = item.hex("as", 1, 1).front();
    item.done();
    declared.first.substitutes.push_back(substitute);
    declared.substitute_strides.push_back(stride);
    declared.origin.substitutes.push_back(draft.keep(node));
  }
}

// complement, add and bits: how the result comes from the algorithm's value.
void read_result(Draft& draft, JsonObject& object, Checksum& checksum) {
  const int width = algorithm_bits(checksum.algorithm);
  const bool is_digest = checksum.algorithm.kind == AlgorithmKind::kSha256;
  for (const std::string_view key : {"complement", "add", "bits"}) {
    if (!is_digest || !object.has(key)) continue;
    contradict(draft, *object.optional(key), "\"" + std::string(key) + "\" for SHA-256",
               "no such key for SHA-256", "remove the key; slots may hold any leading part of the digest");
  }
  if (const auto node = object.optional("complement")) {
    checksum.complement = static_cast<Complement>(node->choice({"none", "ones", "twos"}));
  }
  if (const auto node = object.optional("add")) {
    checksum.add = node->number(0, ~std::uint64_t{0});
    if (!is_digest && checksum.add > low_mask(width)) {
      contradict(draft, *node, hex_number(checksum.add), "at most " + hex_number(low_mask(width)),
                 "the number is added modulo 2^" + std::to_string(width) + ": give it reduced");
    }
  }
  checksum.bits = width;
  if (const auto node = object.optional("bits")) {
    const std::uint64_t bits = node->integer(1, 256);
    if (bits > static_cast<std::uint64_t>(width)) {
      contradict(draft, *node, std::to_string(bits) + " bits",
                 "at most the " + std::to_string(width) + " of the algorithm",
                 "correct bits, or the width of the algorithm");
    } else {
      checksum.bits = static_cast<int>(bits);
    }
  }
}

// Bits of which every value fits into `size` bytes of an encoding, at most 64.
int room_for(SlotEncoding encoding, std::uint64_t size) {
  constexpr std::uint64_t kMost = 64;
  if (encoding == SlotEncoding::kBinary) return static_cast<int>(std::min(kMost, 8 * size));
  if (encoding != SlotEncoding::kDecimal) return static_cast<int>(std::min(kMost, 4 * size));
  if (size >= 20) return static_cast<int>(kMost);  // 10^20 > 2^64
  std::uint64_t values = 1;
  for (std::uint64_t i = 0; i < size; ++i) values *= 10;
  int bits = 0;
  while (values >>= 1U) ++bits;
  return bits;
}

void read_digest_slot(Draft& draft, JsonObject& object, Slot& slot) {
  for (const std::string_view key : {"order", "encoding", "bits"}) {
    if (!object.has(key)) continue;
    contradict(draft, *object.optional(key), "\"" + std::string(key) + "\" for SHA-256",
               "no such key for SHA-256", "remove the key: the digest's bytes stand as they come");
  }
  if (slot.transform != SlotTransform::kPlain && slot.transform != SlotTransform::kComplement) {
    contradict(draft, object.node(), "a transform that counts in bits",
               "\"plain\" or \"complement\" for SHA-256", "remove the transform");
  }
  const auto size = static_cast<int>(slot.place.range.size());
  slot.order = ByteOrder::kBig;
  slot.bits = 8 * size;
  if (slot.from + size > 32) {
    contradict(draft, object.node(),
               "bytes " + std::to_string(slot.from) + " to " + std::to_string(slot.from + size - 1),
               "bytes 0 to 31 of the digest", "correct from or size");
  }
}

void read_part(Draft& draft, JsonObject& object, Slot& slot, std::uint64_t size, int result_bits) {
  const int room = room_for(slot.encoding, size);
  const int left = result_bits - slot.from;
  const auto written = object.optional("bits");
  slot.bits = written ? static_cast<int>(written->integer(1, 64)) : std::min(left, room);
  if (slot.from >= result_bits || slot.bits > left) {
    contradict(draft, object.node(),
               "bits " + std::to_string(slot.from) + " to " + std::to_string(slot.from + slot.bits - 1),
               "bits 0 to " + std::to_string(result_bits - 1) + " of the result", "correct from or bits");
  } else if (slot.bits > room) {
    contradict(draft, object.node(),
               std::to_string(slot.bits) + " bits in " + std::to_string(size) + " bytes",
               "at most " + std::to_string(room) + " bits in this encoding and size",
               "correct size, bits or encoding");
  }
}

// Every bit of the result must be held somewhere; of a digest, any leading bytes.
void check_held(Draft& draft, const JsonNode& list, const Checksum& checksum) {
  const bool is_digest = checksum.algorithm.kind == AlgorithmKind::kSha256;
  RangeSet held;
  for (const Slot& slot : checksum.slots) {
    const auto from = static_cast<std::uint64_t>(slot.from);
    const std::uint64_t units = is_digest ? slot.place.range.size() : static_cast<std::uint64_t>(slot.bits);
    held.add({from, from + units});
  }
  const auto bits = static_cast<std::uint64_t>(checksum.bits);
  const bool complete =
      is_digest ? held.ranges().size() == 1 && held.contains(0) : held.contains(Range{0, bits});
  if (complete) return;
  std::string found;
  for (const Range& range : held.ranges()) {
    found +=
        (found.empty() ? "" : ", ") + std::to_string(range.begin) + " to " + std::to_string(range.end - 1);
  }
  contradict(draft, list, std::string(is_digest ? "bytes " : "bits ") + found,
             is_digest ? "leading bytes of the digest without a gap, from byte 0"
                       : "every bit from 0 to " + std::to_string(bits - 1),
             "add the missing slot, or state with \"bits\" that fewer bits are kept");
}

void read_slots(Draft& draft, const JsonNode& list, Declared& declared) {
  Checksum& checksum = declared.first;
  const auto nodes = list.items(kMapItemLimit);
  if (nodes.empty()) list.refuse(Reason::kJsonValue, "no slot", "at least one slot");
  if (!take_places(draft, list, nodes.size() * declared.count)) return;
  bool placed = true;
  for (const JsonNode& node : nodes) {
    JsonObject item(node);
    std::uint64_t stride = 0;
    Slot slot;
    const std::uint64_t size = item.number("size", 1, kSlotSizeLimit);
    slot.place = read_repeated(draft, item, declared, "at", stride, size);
    placed = placed && !slot.place.range.empty();
    slot.order = read_order(item, false);
    if (const auto encoding = item.optional("encoding")) {
      slot.encoding =
          static_cast<SlotEncoding>(encoding->choice({"binary", "hex-lower", "hex-upper", "decimal"}));
    }
    if (const auto transform = item.optional("transform")) {
      slot.transform =
          static_cast<SlotTransform>(transform->choice({"plain", "complement", "negate", "reverse"}));
    }
    if (const auto from = item.optional("from")) slot.from = static_cast<int>(from->integer(0, 63));
    if (checksum.algorithm.kind == AlgorithmKind::kSha256) {
      if (const auto bits = item.optional("bits")) bits->integer(1, 64);
      read_digest_slot(draft, item, slot);
    } else {
      read_part(draft, item, slot, size, checksum.bits);
    }
    item.done();
    checksum.slots.push_back(slot);
    declared.slot_strides.push_back(stride);
    declared.origin.slots.push_back(draft.keep(node));
  }
  if (placed && !nodes.empty()) check_held(draft, list, checksum);
}

void read_rule(Draft& draft, const JsonNode& node, Declared& declared) {
  Checksum& checksum = declared.first;
  const bool is_digest = checksum.algorithm.kind == AlgorithmKind::kSha256;
  JsonObject object(node);
  Rule rule;
  if (const auto equals = object.required("equals")) {
    const bool is_residue = equals->is_text("residue");
    if (!is_residue) {
      rule.equals = equals->number(0, ~std::uint64_t{0});
      if (!is_digest && rule.equals > low_mask(checksum.bits)) {
        contradict(draft, *equals, hex_number(rule.equals), "at most " + hex_number(low_mask(checksum.bits)),
                   "the result has " + std::to_string(checksum.bits) + " bits: correct equals or bits");
      }
    } else if (checksum.algorithm.kind != AlgorithmKind::kCrc || checksum.complement != Complement::kNone ||
               checksum.add != 0 || checksum.bits != checksum.algorithm.crc.width) {
      contradict(
          draft, *equals, "\"residue\" of " + checksum.algorithm.name + " changed or cut, or of no CRC",
          "a CRC kept whole, without complement, add or bits", "give the number that the result must equal");
    } else {
      // The catalogue states the residue before xorout; the finished result has it applied.
      rule.equals = Crc(checksum.algorithm.crc).residue() ^ checksum.algorithm.crc.xorout;
    }
  }
  if (const auto balance = object.optional("balance")) {
    JsonObject item(*balance);
    const std::uint64_t size = item.number("size", 1, kBalanceSizeLimit);
    rule.balance = read_repeated(draft, item, declared, "at", declared.balance_stride, size);
    rule.order = read_order(item, false);
    item.done();
    declared.origin.balance = draft.keep(*balance);
  }
  object.done();
  if (is_digest) {
    contradict(draft, node, "a rule for SHA-256", "slots that hold the digest",
               "give slots in place of the rule");
  }
  checksum.rule = rule;
}

// "2026-12-01 A. Tuner: wrote two revisions with it"
bool begins_with_date(const std::string& line) {
  constexpr std::string_view kForm = "####-##-## ";
  if (line.size() <= kForm.size()) return false;
  for (std::size_t i = 0; i < kForm.size(); ++i) {
    const bool digit = line[i] >= '0' && line[i] <= '9';
    if (kForm[i] == '#' ? !digit : line[i] != kForm[i]) return false;
  }
  const int month = std::stoi(line.substr(5, 2)), day = std::stoi(line.substr(8, 2));
  return month >= 1 && month <= 12 && day >= 1 && day <= 31;
}

// drafted and confirmed: whence it is known, and who vouches for it.
void read_standing(Draft& draft, JsonObject& object, Checksum& checksum) {
  if (const auto drafted = object.optional("drafted")) {
    checksum.drafted = read_line(*drafted);
    if (checksum.rule && checksum.rule->balance)
      contradict(draft, *drafted, "\"drafted\" beside a balance", "a drafted rule without a balance",
                 "remove the balance, or what says that the checksum was drafted");
  }
  const auto confirmed = object.optional("confirmed");
  if (!confirmed) return;
  const std::string line = read_line(*confirmed);
  if (confirmed->is_text() && (checksum.drafted->empty() || !begins_with_date(line)))
    confirmed->refuse(
        Reason::kJsonValue,
        checksum.drafted->empty() ? "\"confirmed\" without \"drafted\"" : "\"" + printable(line, 70) + "\"",
        "beside \"drafted\", a date as 2026-12-01, a space, and who confirms it on what grounds");
  checksum.confirmed = line;
}

void expand(Draft& draft, const JsonNode& node, Declared declared) {
  declared.origin.whole = draft.keep(node);
  draft.origins.push_back(std::move(declared.origin));
  const ChecksumOrigin* const origin = &draft.origins.back();
  for (std::uint64_t i = 0; i < declared.count; ++i) {
    Checksum one = declared.first;
    if (declared.repeats) one.name += "[" + std::to_string(i) + "]";
    for (std::size_t k = 0; k < one.coverage.size(); ++k) {
      if (auto* range = std::get_if<CoverageRange>(&one.coverage[k])) {
        range->place = shifted(range->place, declared.coverage_strides[k], i);
      } else if (auto* table = std::get_if<CoverageTable>(&one.coverage[k]);
                 table != nullptr && table->record) {
        table->record = i;
      }
    }
    for (std::size_t k = 0; k < one.substitutes.size(); ++k) {
      one.substitutes[k].place = shifted(one.substitutes[k].place, declared.substitute_strides[k], i);
    }
    for (std::size_t k = 0; k < one.slots.size(); ++k) {
      one.slots[k].place = shifted(one.slots[k].place, declared.slot_strides[k], i);
    }
    if (one.rule && one.rule->balance)
      one.rule->balance = shifted(*one.rule->balance, declared.balance_stride, i);
    draft.map.checksums.push_back(std::move(one));
    draft.checksums.push_back(origin);
  }
}

}  // namespace

void read_checksums(Draft& draft, JsonObject& top) {
  const auto list = top.optional("checksums");
  if (!list) return;
  NameList names;
  for (const JsonNode& node : list->items(kMapItemLimit)) {
    JsonObject object(node);
    Declared declared;
    Checksum& checksum = declared.first;
    checksum.name = names.read(draft, object);
    checksum.note = read_note(object);
    if (const auto repeat = object.optional("repeat")) {
      declared.repeats = true;
      declared.count = repeat->number(1, kMapItemLimit);
    }
    if (declared.count > kMapItemLimit - draft.map.checksums.size()) {
      node.refuse(Reason::kJsonValue,
                  std::to_string(draft.map.checksums.size() + declared.count) + " checksums after repetition",
                  "at most " + std::to_string(kMapItemLimit));
      return;
    }
    checksum.algorithm = placeholder_algorithm();
    if (const auto algorithm = object.required("algorithm"))
      checksum.algorithm = read_algorithm(draft, *algorithm);
    read_coverage(draft, object, declared);
    read_substitutes(draft, object, declared);
    if (const auto swap = object.optional("swap")) checksum.swap = read_width(*swap, {16, 32});
    read_result(draft, object, checksum);
    const auto slots = object.optional("slots");
    const auto rule = object.optional("rule");
    if (slots.has_value() == rule.has_value()) {
      contradict(draft, node, slots ? "both slots and a rule" : "neither slots nor a rule",
                 "exactly one of the two",
                 slots ? "remove one" : "say where the result is kept, or what it must equal");
    }
    if (slots) read_slots(draft, *slots, declared);
    if (rule) read_rule(draft, *rule, declared);
    read_standing(draft, object, checksum);
    object.done();
    // After a fault of shape the lists may be short of elements, and nothing more is needed of them.
    if (!draft.shape().ok()) return;
    expand(draft, node, std::move(declared));
  }
}

}  // namespace calseal::region_map_draft
