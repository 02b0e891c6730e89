// Compiled by dropped_result_test.py: every line marked as dropped must be an error, and nothing else may be
// one.
#include "calseal/base/result.h"

namespace calseal {

Status close_it();
Result<int> count_them();
struct Folder {
  Result<std::string> name() const;
};
template <typename T>
Result<T> made_from(T value);

void drops_all(const Folder& folder);
Status looks_at_all(const Folder& folder);

void drops_all(const Folder& folder) {
  close_it();                                     // dropped
  count_them();                                   // dropped
  folder.name();                                  // dropped
  made_from(1.5);                                 // dropped
  count_them().map([](int n) { return n + 1; });  // dropped
  const auto closing = [] { return close_it(); };
  closing();      // dropped
  fail(Error{});  // dropped
}

Status looks_at_all(const Folder& folder) {
  CALSEAL_CHECK(close_it());
  CALSEAL_ASSIGN(const int count, count_them());
  if (!folder.name()) return fail(Error{});
  if (count > 1) return close_it();
  (void)close_it();  // said to be of no interest
  return {};
}

}  // namespace calseal
