#include "calseal/map/wrapping.h"

#include <algorithm>
#include <utility>

#include "calseal/base/text.h"
#include "calseal/map/correct.h"
#include "calseal/map/plan.h"
#include "calseal/map/verify.h"

namespace calseal {
namespace {

std::uint64_t block_size(const FormDeclaration::Block& block) {
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

// Offset of the first constant that a file as long as the form does not hold.
std::optional<std::uint64_t> wrong_constant(const FormDeclaration& form, ByteView file) {
  std::uint64_t at = 0;
  for (const auto& block : form.blocks) {
    const std::uint64_t size = block_size(block);
    if (block.kind == FormDeclaration::Block::Kind::kConstant &&
        !std::ranges::equal(block.constant,
                            file.subspan(static_cast<std::size_t>(at), static_cast<std::size_t>(size)))) {
      return at;
    }
    at += size;
  }
  return std::nullopt;
}

// The file as the one memory of its own map.
Image image_of_file(const RegionMap& own, Bytes file) {
  const MemoryDeclaration& declared = own.memories.front();
  Image image;
  image.memories.push_back(
      Memory{declared.name, declared.extent, std::move(file), RangeSet(declared.extent)});
  return image;
}

Error own_fault(const FormDeclaration& form, const std::string& name, Error error) {
  error.reason = Reason::kFormChecksum;
  error.file = name;
  error.place = "form \"" + form.name + "\", " + error.place;
  error.next = "get the file again from whoever wrote it: it was damaged, or changed without its wrapping";
  return error;
}

}  // namespace

std::vector<WrappedPart> wrapped_parts(const FormDeclaration& form) {
  std::vector<WrappedPart> parts;
  std::uint64_t at = 0;
  for (const auto& block : form.blocks) {
    if (block.kind == FormDeclaration::Block::Kind::kMemory) parts.push_back({at, block.place});
    at += block_size(block);
  }
  return parts;
}

std::uint64_t wrapping_size(const FormDeclaration& form) {
  std::uint64_t size = 0;
  for (const auto& block : form.blocks) size += block_size(block);
  return size;
}

bool wrapping_fits(const FormDeclaration& form, ByteView file) {
  return wrapping_size(form) == file.size() && !wrong_constant(form, file);
}

std::uint64_t opaque_size(const FormDeclaration& form) {
  std::uint64_t size = 0;
  for (const auto& block : form.blocks) {
    if (block.kind == FormDeclaration::Block::Kind::kOpaque) size += block.size;
  }
  return size;
}

Bytes opaque_bytes(const FormDeclaration& form, ByteView file) {
  Bytes bytes;
  std::uint64_t at = 0;
  for (const auto& block : form.blocks) {
    if (block.kind == FormDeclaration::Block::Kind::kOpaque) {
      const ByteView held = file.subspan(static_cast<std::size_t>(at), static_cast<std::size_t>(block.size));
      bytes.insert(bytes.end(), held.begin(), held.end());
    }
    at += block_size(block);
  }
  return bytes;
}

std::optional<Bytes> empty_wrapping(const FormDeclaration& form, ByteView opaque) {
  if (opaque_size(form) != opaque.size()) return std::nullopt;
  Bytes file(static_cast<std::size_t>(wrapping_size(form)), 0);
  auto at = file.begin();
  for (const auto& block : form.blocks) {
    if (block.kind == FormDeclaration::Block::Kind::kConstant) std::ranges::copy(block.constant, at);
    if (block.kind == FormDeclaration::Block::Kind::kOpaque) {
      const auto size = static_cast<std::size_t>(block.size);
      std::ranges::copy(opaque.first(size), at);
      opaque = opaque.subspan(size);
    }
    at += static_cast<std::ptrdiff_t>(block_size(block));
  }
  return file;
}

bool makes_its_opaque_bytes(const FormDeclaration& form) {
  RangeSet made;
  if (form.file) {
    for (const Checksum& checksum : form.file->checksums) {
      for (const Place& place : checksum.written_places()) made.add(place.range);
    }
  }
  std::uint64_t at = 0;
  for (const auto& block : form.blocks) {
    const std::uint64_t end = at + block_size(block);
    if (block.kind == FormDeclaration::Block::Kind::kOpaque && !made.contains(Range{at, end})) return false;
    at = end;
  }
  return true;
}

bool is_of_memory(const FormDeclaration& form, std::size_t memory) {
  return std::ranges::all_of(wrapped_parts(form),
                             [&](const WrappedPart& part) { return part.place.memory == memory; }) &&
         std::ranges::all_of(form.omitted, [&](const Place& place) { return place.memory == memory; });
}

std::optional<Error> misfit_of(const RegionMap& map, ByteView file, const std::string& name) {
  for (const FormDeclaration& form : map.forms) {
    if (!form.is_readable() || wrapping_size(form) != file.size()) continue;
    const std::optional<std::uint64_t> at = wrong_constant(form, file);
    if (!at) continue;
    return Error{Reason::kFormUnknown,         name,
                 "offset " + grouped(*at),     "other bytes than the constant there",
                 "form \"" + form.name + "\"", "check that file and region map belong together"};
  }
  return std::nullopt;
}

Status verify_wrapping(const FormDeclaration& form, ByteView file, const std::string& name) {
  if (!form.file) return {};
  const Image image = image_of_file(*form.file, Bytes(file.begin(), file.end()));
  const Result<Plan> plan = make_plan(*form.file, image);
  if (!plan) return fail(own_fault(form, name, plan.error()));
  for (const CheckOutcome& outcome : verify_checks(*plan, image)) {
    if (outcome.state == CheckState::kHolds) continue;
    Error error{Reason::kFormChecksum, "", outcome.name, "", "", ""};
    if (Status holds = require_holding(*plan, {outcome}); !holds) error = std::move(holds).error();
    return fail(own_fault(form, name, std::move(error)));
  }
  return {};
}

Result<Bytes> wrap(const FormDeclaration& form, const Bytes& original, const Image& image,
                   const std::string& name) {
  Bytes out = original;
  for (const WrappedPart& part : wrapped_parts(form)) {
    std::ranges::copy(image.memories[part.place.memory].view(part.place.range),
                      out.begin() + static_cast<std::ptrdiff_t>(part.at));
  }
  if (!form.file) return out;
  Image file = image_of_file(*form.file, std::move(out));
  const Result<Plan> plan = make_plan(*form.file, file);
  if (!plan) return fail(own_fault(form, name, plan.error()));
  if (Result<CorrectionReport> corrected = correct(*plan, file); !corrected)
    return fail(own_fault(form, name, std::move(corrected).error()));
  return std::move(file.memories.front().bytes);
}

}  // namespace calseal
