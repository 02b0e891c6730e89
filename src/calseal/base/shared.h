// A value that all its copies share and that nobody changes.
#pragma once

#include <memory>
#include <utility>

namespace calseal {

// What a declaration says once for thousands of places is kept once.
template <typename T>
class Shared {
 public:
  Shared() = default;
  Shared(T value) : value_(std::make_shared<const T>(std::move(value))) {}

  const T& operator*() const {
    static const T kNone{};
    return value_ ? *value_ : kNone;
  }
  const T* operator->() const { return &**this; }

 private:
  std::shared_ptr<const T> value_;  // nothing: T()
};

}  // namespace calseal
