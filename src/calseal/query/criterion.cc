#include "calseal/query/criterion.h"

#include <charconv>

#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"

namespace calseal {
namespace {

tl::unexpected<Error> wrong(const std::string& option, const std::string& value, std::string expected) {
  return fail({Reason::kUsage, "", option, "\"" + printable(value, 80) + "\"", std::move(expected),
               "write it as in --help"});
}

// An address of one to eight digits, as people type it.
std::optional<std::uint64_t> typed_address(std::string_view text) {
  if (!text.starts_with("0x")) return std::nullopt;
  text.remove_prefix(2);
  std::uint64_t value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value, 16);
  if (error != std::errc() || end != text.data() + text.size() || value >= kAddressLimit) return std::nullopt;
  return value;
}

Result<Criterion> parse_touches(Criterion criterion, const std::string& value, const std::string& option) {
  const std::string expected = "MEMORY:0xFIRST-0xLAST, or MEMORY:0xADDRESS";
  const std::size_t colon = value.find(':');
  if (colon == std::string::npos || colon == 0) return wrong(option, value, expected);
  criterion.text = value.substr(0, colon);
  const std::string addresses = value.substr(colon + 1);
  const std::size_t dash = addresses.find('-');
  const auto first = typed_address(addresses.substr(0, dash));
  const auto last = dash == std::string::npos ? first : typed_address(addresses.substr(dash + 1));
  if (!first || !last || *last < *first) return wrong(option, value, expected);
  criterion.range = {*first, *last + 1};
  return criterion;
}

}  // namespace

const std::vector<CriterionWord>& criterion_words() {
  static const std::vector<CriterionWord> words{
      {CriterionKind::kTouches, "touches", "MEMORY:0x..-0x..",
       "Changes a byte of this address range (first and last address) against its base"},
      {CriterionKind::kRegion, "region", "NAME", "Changes a byte of this region against its base"},
      {CriterionKind::kItem, "item", "NAME", "Lists this calibration item as changed"},
      {CriterionKind::kOption, "option", "NAME", "Contains this option"},
      {CriterionKind::kMap, "map", "DIGEST", "Built on the region map with this SHA-256"},
      {CriterionKind::kStock, "stock", "DIGEST",
       "Built on this first read: SHA-256 of a file of it, or its pinned digest"},
      {CriterionKind::kSoftware, "software", "NUMBER", "Software number of base or result"},
      {CriterionKind::kKey, "key", "KEY_ID", "Bears a signature by this key"},
      {CriterionKind::kJob, "job", "NAME", "Of this job"},
      {CriterionKind::kController, "controller", "NAME", "Of this controller"},
      {CriterionKind::kVehicle, "vehicle", "WORDS",
       "Of the vehicle (and so the customer) with this reference"},
      {CriterionKind::kRevision, "revision", "N", "Revision number"},
      {CriterionKind::kIdentity, "identity", "DIGEST", "The revision with this identity"},
  };
  return words;
}

Result<Criterion> parse_criterion(CriterionKind kind, const std::string& value, const std::string& option) {
  Criterion criterion;
  criterion.kind = kind;
  switch (kind) {
    case CriterionKind::kTouches:
      return parse_touches(std::move(criterion), value, option);
    case CriterionKind::kMap:
    case CriterionKind::kStock:
    case CriterionKind::kKey:
    case CriterionKind::kIdentity: {
      const std::optional<Sha256> digest = parse_digest(value);
      if (!digest) return wrong(option, value, "64 lower-case hexadecimal digits");
      criterion.digest = *digest;
      return criterion;
    }
    case CriterionKind::kRevision: {
      const auto [end, error] = std::from_chars(value.data(), value.data() + value.size(), criterion.number);
      if (error != std::errc() || end != value.data() + value.size() || criterion.number > kRevisionLimit)
        return wrong(option, value, "a number from 0 on");
      return criterion;
    }
    default:
      if (value.empty() || value.size() > kFieldTextLimit || !is_utf8(value))
        return wrong(option, value, "1 to " + grouped(kFieldTextLimit) + " bytes of UTF-8");
      criterion.text = value;
      return criterion;
  }
}

Result<Criterion> parse_criterion(const std::string& text, const std::string& option) {
  const std::size_t equals = text.find('=');
  std::string known;
  for (const CriterionWord& word : criterion_words()) {
    if (equals != std::string::npos && text.substr(0, equals) == word.word)
      return parse_criterion(word.kind, text.substr(equals + 1), option);
    known += (known.empty() ? "" : ", ") + std::string(word.word);
  }
  return wrong(option, text, "WORD=VALUE, where the word is one of " + known);
}

}  // namespace calseal
