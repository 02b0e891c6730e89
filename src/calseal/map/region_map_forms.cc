// Reading declared forms, and judging a wrapping's own checksums: a region map of the file itself, within the
// map.
#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/map/region_map_draft.h"

namespace calseal::region_map_draft {
namespace {

constexpr std::string_view kFileMemory = "file";

std::uint64_t size_of(const FormDeclaration::Block& block) {
  switch (block.kind) {
    case FormDeclaration::Block::Kind::kMemory:
      return block.place.range.size();
    case FormDeclaration::Block::Kind::kConstant:
      return block.constant.size();
    case FormDeclaration::Block::Kind::kOpaque:
      return block.size;
  }
  return 0;
}

FormDeclaration::Block read_block(Draft& draft, const JsonNode& node) {
  JsonObject written(node);
  FormDeclaration::Block block;
  if (written.has("constant")) {
    block.kind = FormDeclaration::Block::Kind::kConstant;
    block.constant = read_bytes(written, "constant", kBytesLimit);
  } else if (written.has("opaque")) {
    block.kind = FormDeclaration::Block::Kind::kOpaque;
    block.size = written.number("opaque", 1, kImageLimit);
  } else {
    block.place = read_place(draft, written);
  }
  written.done();
  return block;
}

std::uint64_t read_blocks(Draft& draft, JsonObject& object, FormDeclaration& form) {
  std::vector<Where> origins;
  std::uint64_t total = 0;
  bool holds_memory = false;
  for (const JsonNode& item : object.items("blocks", kMapItemLimit)) {
    form.blocks.push_back(read_block(draft, item));
    total += size_of(form.blocks.back());
    holds_memory = holds_memory || form.blocks.back().kind == FormDeclaration::Block::Kind::kMemory;
    origins.push_back(draft.keep(item));
  }
  draft.form_blocks.push_back(std::move(origins));
  if (!holds_memory) {
    object.node().refuse(Reason::kJsonValue, "a form without any part of a memory",
                         "at least one such block");
  }
  if (total > kImageLimit) {
    draft.refuse(Phase::kRanges, Reason::kMapRange, object.node(), grouped(total) + " bytes in all blocks",
                 "at most " + grouped(kImageLimit), "correct the sizes");
  }
  return std::min(total, kImageLimit);
}

void read_omitted(Draft& draft, JsonObject& object, FormDeclaration& form) {
  std::vector<Where> origins;
  if (const auto list = object.optional("omitted")) {
    for (const JsonNode& item : list->items(kMapItemLimit)) {
      JsonObject place(item);
      form.omitted.push_back(read_place(draft, place));
      place.done();
      origins.push_back(draft.keep(item));
    }
    if (form.omitted.empty()) list->refuse(Reason::kJsonValue, "no range", "at least one, or no such key");
  }
  draft.form_omitted.push_back(std::move(origins));
  const bool fills = object.has("fill");
  if (fills) form.fill = object.hex("fill", 1, 1).front();
  if (fills == !form.omitted.empty()) return;
  object.node().refuse(Reason::kJsonValue, fills ? "a \"fill\" and nothing omitted" : "no \"fill\"",
                       "\"fill\" together with \"omitted\", and only then");
}

// The wrapping's own checksums, in the words that the image's checksums are declared in.
std::unique_ptr<Draft> read_own_checksums(Draft& draft, JsonObject& object, const std::string& form,
                                          std::uint64_t size) {
  if (!object.has("checksums")) return nullptr;
  auto own = std::make_unique<Draft>(draft.text, draft.file);
  MemoryDeclaration file;
  file.name = kFileMemory;
  file.extent = {0, size};
  if (size != 0) file.segments.push_back(file.extent);
  own->map.name = form;
  own->map.controller = kFileMemory;
  own->exists.emplace_back();
  if (size != 0) own->exists.back().add(file.extent);
  own->map.memories.push_back(std::move(file));
  own->checksum_places = draft.checksum_places;
  read_checksums(*own, object);
  draft.checksum_places = own->checksum_places;
  draft.adopt(*own);
  return own;
}

// Bytes of the file that nothing but its own checksums decides over.
RangeSet opaque_bytes(const FormDeclaration& form) {
  RangeSet set;
  std::uint64_t at = 0;
  for (const FormDeclaration::Block& block : form.blocks) {
    const std::uint64_t end = at + size_of(block);
    if (block.kind == FormDeclaration::Block::Kind::kOpaque) set.add({at, end});
    at = end;
  }
  return set;
}

void lint_slots(Draft& draft, const FormDeclaration& form, const Draft& own) {
  const RangeSet opaque = opaque_bytes(form);
  const auto require_opaque = [&](const Place& place, Where where) {
    if (opaque.contains(place.range)) return;
    draft.refuse(Phase::kPolicies, Reason::kMapPolicy, *where,
                 "a slot of form \"" + form.name + "\" at offset " + grouped(place.range.begin),
                 "inside an opaque block, whose bytes belong to the wrapping alone",
                 "declare the slot's bytes as an opaque block, or correct the place");
  };
  for (std::size_t i = 0; i < own.map.checksums.size(); ++i) {
    const Checksum& checksum = own.map.checksums[i];
    for (std::size_t k = 0; k < checksum.slots.size(); ++k)
      require_opaque(checksum.slots[k].place, own.checksums[i]->slots[k]);
    if (checksum.rule && checksum.rule->balance)
      require_opaque(*checksum.rule->balance, own.checksums[i]->balance);
  }
}

}  // namespace

void read_forms(Draft& draft, JsonObject& top) {
  const auto list = top.optional("forms");
  if (!list) return;
  NameList names;
  for (const JsonNode& node : list->items(kMapItemLimit)) {
    JsonObject object(node);
    FormDeclaration form;
    form.name = names.read(draft, object);
    form.note = read_note(object);
    if (object.has("signature")) {
      form.signature = read_bytes(object, "signature", kSignatureLimit);
      draft.form_blocks.emplace_back();
      draft.form_omitted.emplace_back();
      draft.form_files.emplace_back();
    } else {
      const std::uint64_t size = read_blocks(draft, object, form);
      read_omitted(draft, object, form);
      draft.form_files.push_back(read_own_checksums(draft, object, form.name, size));
    }
    object.done();
    draft.map.forms.push_back(std::move(form));
  }
}

void lint_form_files(Draft& draft, void (*lint)(Draft&)) {
  for (std::size_t i = 0; i < draft.form_files.size(); ++i) {
    Draft* const own = draft.form_files[i].get();
    if (own == nullptr) continue;
    own->checksum_bytes = draft.checksum_bytes;
    lint(*own);
    draft.checksum_bytes = own->checksum_bytes;
    if (lint == lint_policies) lint_slots(draft, draft.map.forms[i], *own);
    draft.adopt(*own);
  }
}

void take_form_files(Draft& draft) {
  for (std::size_t i = 0; i < draft.form_files.size(); ++i) {
    if (!draft.form_files[i]) continue;
    draft.map.forms[i].file = std::make_shared<const RegionMap>(std::move(draft.form_files[i]->map));
  }
}

}  // namespace calseal::region_map_draft
