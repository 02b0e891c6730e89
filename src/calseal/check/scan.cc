#include "calseal/check/scan.h"

#include <algorithm>
#include <charconv>

#include "calseal/base/plain_words.h"
#include "calseal/base/text.h"
#include "calseal/check/check.h"
#include "calseal/check/claims.h"
#include "calseal/check/match.h"

namespace calseal {
namespace {

// Hexadecimal digits as tools print them: "1A 2B", "0x1a2b", "1a:2b".
std::string plain_digits(std::string_view text) {
  if (text.starts_with("0x") || text.starts_with("0X")) text.remove_prefix(2);
  std::string digits;
  for (const char c : text) {
    if (c == ' ' || c == ':' || c == '-') continue;
    digits += c >= 'A' && c <= 'F' ? static_cast<char>(c - 'A' + 'a') : c;
  }
  return digits;
}

std::optional<std::uint64_t> number(std::string_view text, int base) {
  std::uint64_t value = 0;
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), value, base);
  if (text.empty() || fault != std::errc() || end != text.data() + text.size()) return std::nullopt;
  return value;
}

// Every value that a reported number may mean: verification numbers are reported in hexadecimal, with or
// without a prefix.
std::vector<std::uint64_t> numbers(const IdentityField& field, std::string_view text) {
  std::vector<std::uint64_t> values;
  const bool prefixed = text.starts_with("0x") || text.starts_with("0X");
  if (const auto value = number(text, 10)) values.push_back(*value);
  if (prefixed || field.kind == IdentityKind::kVerificationNumber) {
    if (const auto value = number(plain_digits(text), 16)) values.push_back(*value);
  }
  return values;
}

bool same_text(const IdentityField& field, const std::string& sealed, const std::string& reported) {
  switch (field.encoding) {
    case IdentityEncoding::kAscii:
      return trimmed(sealed) == printable(trimmed(reported), kScanValueLimit);
    case IdentityEncoding::kBcd:
    case IdentityEncoding::kHex:
      return plain_digits(sealed) == plain_digits(trimmed(reported));
    case IdentityEncoding::kIntegerLittle:
    case IdentityEncoding::kIntegerBig: {
      const auto values = numbers(field, trimmed(reported));
      return std::ranges::any_of(values, [&](std::uint64_t v) { return std::to_string(v) == sealed; });
    }
  }
  return false;
}

// The bytes that the field may hold if it has this value.
std::vector<Bytes> bytes_for(const IdentityField& field, const std::string& reported) {
  const auto size = static_cast<std::size_t>(field.place.range.size());
  const std::string text(trimmed(reported));
  std::vector<Bytes> candidates;
  switch (field.encoding) {
    case IdentityEncoding::kAscii:
      if (text.size() > size) break;
      for (const int padding : {0x00, 0x20, 0xff}) {
        Bytes bytes(text.begin(), text.end());
        bytes.resize(size, static_cast<std::uint8_t>(padding));
        candidates.push_back(std::move(bytes));
        if (text.size() == size) break;
      }
      break;
    case IdentityEncoding::kBcd:
    case IdentityEncoding::kHex:
      if (auto bytes = from_hex(plain_digits(text)); bytes && bytes->size() == size)
        candidates.push_back(*std::move(bytes));
      break;
    case IdentityEncoding::kIntegerLittle:
    case IdentityEncoding::kIntegerBig:
      for (const std::uint64_t value : numbers(field, text)) {
        if (size > 8 || (size < 8 && value >> (8 * size) != 0)) continue;
        Bytes bytes(size);
        for (std::size_t i = 0; i < size; ++i) {
          const std::size_t at = field.encoding == IdentityEncoding::kIntegerLittle ? i : size - 1 - i;
          bytes[at] = static_cast<std::uint8_t>(value >> (8 * i));
        }
        candidates.push_back(std::move(bytes));
      }
      break;
  }
  return candidates;
}

bool is_reversed(const IdentityField& field, const std::string& sealed, const std::string& reported) {
  if (field.encoding != IdentityEncoding::kHex) return false;
  auto bytes = from_hex(plain_digits(trimmed(reported)));
  if (!bytes) return false;
  std::ranges::reverse(*bytes);
  return to_hex(*bytes) == sealed;
}

tl::unexpected<Error> mismatch(const IdentityField& field, std::string found, std::string expected,
                               std::string next) {
  return fail({Reason::kScanMismatch, "", "scan " + field.name, std::move(found), std::move(expected),
               std::move(next)});
}

Status compare_binding(const OpenedBundle& opened, const IdentityField& field, const ScanValue& value,
                       const std::optional<Bytes>& salt, ComparedValue& out) {
  const auto& binding = opened.manifest.controller().binding;
  const auto claim = std::ranges::find(binding, field.name, &ManifestBinding::name);
  if (claim == binding.end() || !claim->digest) {
    out.why = "blank in the first read, or sealed without a salt";
    return {};
  }
  if (!salt) {
    out.why = "binds the vehicle: only its salted digest is sealed, so the job's salt is needed";
    return {};
  }
  for (const Bytes& bytes : bytes_for(field, value.value)) {
    if (salted_digest(*salt, opened.map, field, bytes) != *claim->digest) continue;
    out.state = ScanState::kEqual;
    return {};
  }
  out.state = ScanState::kDiffers;
  return mismatch(field, "another value than that of the vehicle this bundle was made for",
                  "the value of the job's own vehicle",
                  "do not drive: check that the scan is of the vehicle in front of you, and ask the shop");
}

// Whether the revision changes bytes of the field, as far as its spans say.
bool changes_in(const OpenedBundle& opened, const IdentityField& field) {
  const std::string& memory = opened.map.memories[field.place.memory].name;
  return std::ranges::any_of(opened.manifest.controller().spans, [&](const ManifestSpan& span) {
    return span.place.memory == memory && span.place.range.overlaps(field.place.range) &&
           span.before != span.after;
  });
}

Status compare_text(const OpenedBundle& opened, const IdentityField& field, const ScanValue& value,
                    ComparedValue& out) {
  const auto& identity = opened.manifest.controller().identity;
  const auto claim = std::ranges::find(identity, field.name, &ManifestIdentity::name);
  if (claim == identity.end() || claim->text.empty()) {
    out.why = "not known from the first read, blank, or not the same in every vehicle";
    return {};
  }
  out.tells_apart = changes_in(opened, field);
  if (same_text(field, claim->text, value.value)) {
    out.state = ScanState::kEqual;
    return {};
  }
  out.state = ScanState::kDiffers;
  std::string found = "\"" + printable(trimmed(value.value)) + "\"";
  const std::string expected = "\"" + printable(claim->text) + "\"";
  if (is_reversed(field, claim->text, value.value))
    found += ", which is the sealed value with its bytes in the other order";
  return mismatch(
      field, found, expected,
      out.tells_apart
          ? "the controller does not report this revision: nothing was written, or it computes the number "
            "anew only after some time with the ignition on; wait, scan again, and if it stays ask the shop"
          : "the controller does not report this revision: scan again, read it back if that is possible, "
            "and ask the shop");
}

}  // namespace

Result<ScanValue> parse_scan_argument(const std::string& argument) {
  const std::size_t equals = argument.find('=');
  if (equals == std::string::npos || equals == 0 || trimmed(argument.substr(equals + 1)).empty() ||
      argument.size() > kScanValueLimit) {
    return fail(
        {Reason::kUsage, "", "--scan", "\"" + printable(argument) + "\"",
         "NAME=VALUE with the name of an identity field, up to " + grouped(kScanValueLimit) + " bytes",
         "write --scan NAME=VALUE; calseal show lists the fields of a bundle"});
  }
  return ScanValue{argument.substr(0, equals), argument.substr(equals + 1)};
}

Status check_scan_names(const OpenedBundle& opened, const std::vector<ScanValue>& scan) {
  const auto usage = [](std::string found, std::string expected) {
    return fail({Reason::kUsage, "", "--scan", std::move(found), std::move(expected),
                 "name each identity field of the region map at most once"});
  };
  if (scan.size() > kScanLimit) {
    return usage(std::to_string(scan.size()) + " values", std::to_string(kScanLimit) + " at most");
  }
  for (const ScanValue& value : scan) {
    const std::string name = "\"" + printable(value.name, 64) + "\"";
    if (std::ranges::count(opened.map.identity, value.name, &IdentityField::name) == 0) {
      std::string names;
      for (const IdentityField& f : opened.map.identity) names += (names.empty() ? "" : ", ") + f.name;
      return usage("a value for " + name,
                   names.empty() ? "none: the region map has no identity fields" : "one of " + names);
    }
    if (std::ranges::count(scan, value.name, &ScanValue::name) != 1)
      return usage(name + " more than once", "one value a field");
  }
  return {};
}

Status compare_scan(const OpenedBundle& opened, const std::vector<ScanValue>& scan,
                    const std::optional<Bytes>& salt, std::vector<ComparedValue>& compared) {
  CALSEAL_CHECK(check_scan_names(opened, scan));
  CALSEAL_CHECK(check_salt(opened.manifest, salt));
  for (const ScanValue& value : scan) {
    const auto field = std::ranges::find(opened.map.identity, value.name, &IdentityField::name);
    compared.push_back(
        {field->name, std::string(identity_kind_name(field->kind)), ScanState::kNotCompared, false, ""});
    if (field->binds) {
      CALSEAL_CHECK(compare_binding(opened, *field, value, salt, compared.back()));
    } else {
      CALSEAL_CHECK(compare_text(opened, *field, value, compared.back()));
    }
  }
  return {};
}

}  // namespace calseal
