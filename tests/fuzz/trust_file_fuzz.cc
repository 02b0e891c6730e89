// Any bytes as a trust file, and its first line signed by nobody: a refusal says all it must, what is
// accepted is canonical.
#include <cstdlib>

#include "calseal/trust/statement.h"
#include "calseal/trust/trust_file.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace calseal;
  const ByteView bytes(data, size);
  const auto statement = read_statement(bytes, "{", kTrustFileSizeLimit, Reason::kTrustInvalid, "input");
  if (statement && write_statement(text_of(statement->signed_bytes), statement->signatures) != text_of(bytes))
    std::abort();
  const auto trust = parse_trust_file(bytes, "", "input");
  if (trust) {
    if (!statement || write_trust_text(*trust) != text_of(statement->signed_bytes)) std::abort();
  } else {
    const Error& error = trust.error();
    if (error.file != "input" || error.found.empty() || error.expected.empty() || error.next.empty())
      std::abort();
  }
  return 0;
}
