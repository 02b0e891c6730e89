// Any bytes as the checker's state, and any text with its right digest: what is read is written back, and a
// changed byte is always noticed.
#include "calseal/check/state.h"
#include "fuzz/fuzz_target.h"
#include "fuzz/statement_property.h"

namespace {

std::vector<std::string> make_samples() {
  using namespace calseal;
  const auto digest = [](std::string_view of) { return compute_sha256(view_of(of)); };
  const auto first_line = [](const CheckerState& state) {
    const std::string file = write_state(state);
    return file.substr(0, file.find('\n'));
  };
  CheckerState state;
  const std::string empty = first_line(state);
  state.last_time = "2026-03-04T05:06:07Z";
  state.maps = {{'m', 'a', 'p'}};
  for (const std::string_view root : {"a", "b"}) {
    RootState& r = state.entry(digest(root));
    r.next = digest("next");
    r.trust_version = 4;
    r.trust = digest("trust");
    r.compromised = {digest("stolen")};
    r.withdrawals = {{2, digest("list"), {digest("desk")}, {digest("w")}, {digest("v")}}};
    for (const char* job : {"job-7", "oak-17"}) {
      JobState& j = r.entry(job, "engine");
      j.ways_back = {{2, 3, digest("r0"), digest("map"), false, {digest("author")}}};
      j.revisions = {{{2, 5, digest("r2"), digest("other map"), true, {digest("author")}}, digest("set"), {digest("r1")}}};
    }
  }
  return {empty, first_line(state)};
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace calseal;
  static const std::vector<std::string> samples = make_samples();
  std::string file = text_from_input(data, size, samples);
  if (file.find('\n') == std::string::npos) file += "\n" + digest_text(compute_sha256(view_of(file))) + "\n";
  const auto state = parse_state(view_of(file), "input");
  if (!state) {
    must_explain(state.error());
    must(state.error().reason == Reason::kStateDamaged, "a damaged state has one reason");
    return 0;
  }
  must(write_state(*state) == file, "what is read is written back");
  const auto again = parse_state(view_of(write_state(*state)), "again");
  must(again.has_value() && *again == *state, "and reads the same");
  std::string bent = file;
  bent[size % bent.size()] ^= 0x04;
  must(!parse_state(view_of(bent), "bent").has_value(), "a changed byte is noticed");
  return 0;
}
