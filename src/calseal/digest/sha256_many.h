// SHA-256 (FIPS 180-4) of many messages at once: the one place where hashing is made fast.
//
// A processor's SHA instructions wait for each other within one message, so two messages side by side take
// little longer than one. Where there are no such instructions, everything goes through EVP.
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/digest/sha256.h"

namespace calseal {

enum class Sha256Engine : std::uint8_t {
  kEvp,    // message after message
  kLanes,  // two at a time by the processor's own instructions
};

// Chosen once, at first use. Tests and benchmarks name an engine; nothing in the environment does.
Sha256Engine best_sha256_engine();

// The digest of each message, in their order. On more than one core where that is worth threads.
std::vector<Sha256> compute_sha256_of_each(const std::vector<ByteView>& messages,
                                           Sha256Engine engine = best_sha256_engine());

// Messages that come in pieces, several of them side by side, on the caller's thread.
class Sha256Streams {
 public:
  explicit Sha256Streams(Sha256Engine engine = best_sha256_engine());
  ~Sha256Streams();
  Sha256Streams(Sha256Streams&&) noexcept;
  Sha256Streams& operator=(Sha256Streams&&) noexcept;

  // The number of a new message.
  std::size_t begin();
  // Its next bytes, which must stay as they are until flush() or finish().
  void update(std::size_t message, ByteView data);
  // Hashes what updates have brought, two messages at a time.
  void flush();
  // The digest of all its data. The number may then be that of a new message.
  Sha256 finish(std::size_t message);
  // The same without a digest; data that waits is forgotten.
  void drop(std::size_t message) noexcept;

 private:
  struct Stream;

  Sha256Engine engine_;
  std::vector<std::unique_ptr<Stream>> streams_;
  std::vector<std::size_t> free_, waiting_;  // numbers
};

}  // namespace calseal
