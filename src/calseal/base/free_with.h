// What a C library gave, in a std::unique_ptr that gives it back by the library's own function:
// std::unique_ptr<EVP_PKEY, FreeWith<EVP_PKEY_free>>.
#pragma once

namespace calseal {

template <auto kFree>
struct FreeWith {
  template <typename Object>
  void operator()(Object* object) const {
    kFree(object);
  }
};

}  // namespace calseal
