#include "calseal/trust/statement.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {
namespace {

constexpr std::size_t kLineSize = 64 + 1 + 128 + 1;  // key id, space, signature, LF

std::optional<PrefixSignature> parse_line(std::string_view line) {
  const auto key_id = parse_digest(line.substr(0, 64));
  const auto bytes = from_hex(line.substr(65, 128));
  if (!key_id || !bytes || line[64] != ' ' || line.back() != '\n') return std::nullopt;
  PrefixSignature signature;
  signature.key_id = *key_id;
  std::copy(bytes->begin(), bytes->end(), signature.signature.begin());
  return signature;
}

}  // namespace

Result<Statement> read_statement(ByteView file, std::string_view literal, std::uint64_t size_limit,
                                 Reason damaged, const std::string& name) {
  if (file.size() > size_limit) {
    return fail({Reason::kFileTooLarge, name, "", grouped(file.size()) + " bytes",
                 "at most " + grouped(size_limit) + " bytes", "check that this is the right file"});
  }
  CALSEAL_CHECK(check_kind(file, literal, name));
  const auto refuse = [&](std::size_t line, std::string found, std::string expected) {
    return fail({damaged, name, "line " + std::to_string(line), std::move(found), std::move(expected),
                 "get the file again, unchanged"});
  };
  const std::string_view text = text_of(file);
  const std::size_t end = text.find('\n');
  if (end == std::string_view::npos) return refuse(1, "no line end", "one line of JSON, then the signatures");
  Statement statement;
  statement.signed_bytes = file.first(end);
  std::string_view rest = text.substr(end + 1);
  if (rest.empty()) return refuse(2, "the end of the file", "a signature");
  for (std::size_t number = 2; !rest.empty(); ++number) {
    if (statement.signatures.size() == kSignatureLimit) {
      return refuse(number, "one more line", "at most " + std::to_string(kSignatureLimit) + " signatures");
    }
    const auto signature = rest.size() < kLineSize ? std::nullopt : parse_line(rest.substr(0, kLineSize));
    if (!signature) {
      return refuse(number, "\"" + printable(rest.substr(0, kLineSize), 60) + "\"",
                    "a key id of 64 and a signature of 128 lower-case hexadecimal digits");
    }
    if (!statement.signatures.empty() && signature->key_id <= statement.signatures.back().key_id) {
      return refuse(number, digest_text(signature->key_id), "a larger key id than on the line before");
    }
    statement.signatures.push_back(*signature);
    rest.remove_prefix(kLineSize);
  }
  return statement;
}

std::string write_statement(std::string_view signed_text, std::vector<PrefixSignature> signatures) {
  std::sort(signatures.begin(), signatures.end(),
            [](const PrefixSignature& a, const PrefixSignature& b) { return a.key_id < b.key_id; });
  std::string out(signed_text);
  out.push_back('\n');
  for (const PrefixSignature& signature : signatures) {
    out += digest_text(signature.key_id) + " " + to_hex(signature.signature) + "\n";
  }
  return out;
}

}  // namespace calseal
