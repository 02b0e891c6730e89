// A value that may be there, kept on the heap: where it mostly is not, it costs one pointer instead of its
// own size. Otherwise as std::optional, copies and comparisons by value included.
#pragma once

#include <memory>
#include <optional>
#include <utility>

namespace calseal {

template <typename T>
class Boxed {
 public:
  Boxed() = default;
  Boxed(std::nullopt_t) {}
  Boxed(T value) : value_(std::make_unique<T>(std::move(value))) {}
  Boxed(std::optional<T> value) {
    if (value) value_ = std::make_unique<T>(*std::move(value));
  }
  Boxed(const Boxed& other) : value_(other ? std::make_unique<T>(*other) : nullptr) {}
  Boxed(Boxed&&) noexcept = default;
  Boxed& operator=(Boxed other) noexcept {
    value_ = std::move(other.value_);
    return *this;
  }
  ~Boxed() = default;

  explicit operator bool() const { return value_ != nullptr; }
  T& operator*() { return *value_; }
  const T& operator*() const { return *value_; }
  T* operator->() { return value_.get(); }
  const T* operator->() const { return value_.get(); }
  void reset() { value_.reset(); }
  operator std::optional<T>() const { return *this ? std::optional<T>(**this) : std::nullopt; }

  friend bool operator==(const Boxed& a, const Boxed& b) { return a && b ? *a == *b : !a && !b; }

 private:
  std::unique_ptr<T> value_;
};

}  // namespace calseal
