#include "calseal/digest/sha256_many.h"

#include <algorithm>
#include <atomic>
#include <exception>
#include <functional>
#include <numeric>
#include <optional>
#include <stdexcept>
#include <system_error>
#include <thread>

#include "calseal/base/interrupt.h"
#include "calseal/digest/sha256_blocks.h"

namespace calseal {
namespace {

using detail::kSha256Block;
using detail::Sha256Instructions;
using detail::Sha256State;

// Bytes to hash, for one thread more. It takes some 50 microseconds to start and end, in which a core hashes
// up to 130 KiB.
constexpr std::size_t kWorthAThread = std::size_t{1} << 20;

// Two runs of blocks, one after the other, that one message's state has yet to go over.
struct Work {
  struct Run {
    const std::uint8_t* at = nullptr;
    std::size_t blocks = 0;
  };
  Sha256State state = detail::kSha256Start;
  std::array<Run, 2> runs;

  Run& run() { return runs[runs[0].blocks == 0 ? 1 : 0]; }
  bool is_done() const { return runs[0].blocks == 0 && runs[1].blocks == 0; }
  void pass(std::size_t blocks) {
    Run& passed = run();
    passed.at += blocks * kSha256Block;
    passed.blocks -= blocks;
  }
};

void work_alone(const Sha256Instructions& with, Work& work) {
  while (!work.is_done()) {
    const std::size_t blocks = work.run().blocks;
    with.one({&work.state, work.run().at}, blocks);
    work.pass(blocks);
  }
}

// Does all that `next` gives, two at a time, until it gives nullptr.
template <typename Next>
void work_in_lanes(const Sha256Instructions& with, Next next) {
  Work* first = next();
  Work* second = next();
  while (first != nullptr && second != nullptr) {
    const std::size_t blocks = std::min(first->run().blocks, second->run().blocks);
    with.two({&first->state, first->run().at}, {&second->state, second->run().at}, blocks);
    first->pass(blocks);
    second->pass(blocks);
    if (first->is_done()) first = next();
    if (second->is_done()) second = next();
  }
  if (first != nullptr) work_alone(with, *first);
  if (second != nullptr) work_alone(with, *second);
}

Sha256 digest_of(const Sha256State& state) {
  Sha256 digest;
  for (std::size_t i = 0; i < digest.bytes.size(); ++i)
    digest.bytes[i] = static_cast<std::uint8_t>(state[i / 4] >> (24 - 8 * (i % 4)));
  return digest;
}

// What is behind the last whole block, filled up as FIPS 180-4, 5.1.1 says: one block or two.
class Ending {
 public:
  Ending() = default;
  Ending(ByteView rest, std::uint64_t message_size) : blocks_(rest.size() + 9 <= kSha256Block ? 1 : 2) {
    std::ranges::copy(rest, bytes_.begin());
    bytes_[rest.size()] = 0x80;
    const std::uint64_t bits = 8 * message_size;
    for (std::size_t i = 0; i < 8; ++i)
      bytes_[blocks_ * kSha256Block - 1 - i] = static_cast<std::uint8_t>(bits >> (8 * i));
  }
  Work::Run run() const { return {bytes_.data(), blocks_}; }

 private:
  std::array<std::uint8_t, 2 * kSha256Block> bytes_{};
  std::size_t blocks_ = 0;
};

// A message that lies in memory whole.
struct Message {
  Message() = default;
  explicit Message(ByteView data) { take(data); }
  Message(const Message&) = delete;
  Message& operator=(const Message&) = delete;

  void take(ByteView data) {
    ending = Ending(data.last(data.size() % kSha256Block), data.size());
    work.runs = {Work::Run{data.data(), data.size() / kSha256Block}, ending.run()};
  }

  Ending ending;
  Work work;
};

// Threads beside the caller's. More lanes than the total has of the longest message would only wait for it.
std::size_t threads_worth(std::size_t messages, std::size_t longest, std::size_t total, Sha256Engine engine) {
  if (messages < 2 || total < 2 * kWorthAThread) return 0;
  const std::size_t lanes = total / longest;
  const std::size_t lanes_of_core = engine == Sha256Engine::kLanes ? 2 : 1;
  const std::size_t cores = std::max(1U, std::thread::hardware_concurrency());
  return std::min({cores, total / kWorthAThread, (lanes + lanes_of_core - 1) / lanes_of_core}) - 1;
}

// Runs `work`, which shares itself out, on the caller's thread and on others as far as they are to be had.
void fork_and_join(std::size_t others, const std::function<void()>& work) {
  std::atomic<bool> failed{false};
  std::vector<std::thread> threads;
  threads.reserve(others);
  try {
    while (threads.size() < others) {
      threads.push_back(start_thread([&] {
        try {
          work();
        } catch (const std::exception&) {
          failed = true;
        }
      }));
    }
  } catch (const std::system_error&) {
    // No thread to be had: those that are there do it all.
  }
  std::exception_ptr fault;
  try {
    work();
  } catch (const std::exception&) {
    fault = std::current_exception();
  }
  for (std::thread& thread : threads) thread.join();
  if (fault) std::rethrow_exception(fault);
  if (failed) throw std::runtime_error("libcrypto cannot compute SHA-256");
}

}  // namespace

namespace detail {

#if !defined(__x86_64__) && !defined(__aarch64__)
const Sha256Instructions* sha256_instructions() { return nullptr; }
#endif

Sha256Engine choose_sha256_engine(const Sha256Instructions* instructions, std::string_view provider) {
  if (instructions == nullptr || provider != "default") return Sha256Engine::kEvp;
  // FIPS 180-4's examples of one block and of two, as NIST publishes them.
  const Sha256 short_digest =
      *parse_digest("ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  const Sha256 long_digest =
      *parse_digest("248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  for (const bool long_first : {false, true}) {
    Message one_block(view_of("abc"));
    Message two_blocks(view_of("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"));
    std::array<Work*, 2> both{&one_block.work, &two_blocks.work};
    if (long_first) std::swap(both[0], both[1]);
    std::size_t taken = 0;
    work_in_lanes(*instructions, [&] { return taken < both.size() ? both[taken++] : nullptr; });
    if (digest_of(one_block.work.state) != short_digest || digest_of(two_blocks.work.state) != long_digest)
      return Sha256Engine::kEvp;
  }
  return Sha256Engine::kLanes;
}

}  // namespace detail

Sha256Engine best_sha256_engine() {
  static const Sha256Engine kBest =
      detail::choose_sha256_engine(detail::sha256_instructions(), detail::sha256_provider());
  return kBest;
}

std::vector<Sha256> compute_sha256_of_each(const std::vector<ByteView>& messages, Sha256Engine engine) {
  std::vector<Sha256> digests(messages.size());
  std::vector<std::size_t> order(messages.size());  // the longest first
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return messages[a].size() > messages[b].size(); });
  std::size_t total = 0;
  for (const ByteView& message : messages) total += message.size();
  const std::size_t others =
      messages.empty() ? 0 : threads_worth(messages.size(), messages[order[0]].size(), total, engine);
  std::atomic<std::size_t> next{0};  // into `order`
  if (engine == Sha256Engine::kEvp || messages.size() == 1) {
    fork_and_join(others, [&] {
      for (std::size_t i = next++; i < order.size(); i = next++)
        digests[order[i]] = compute_sha256(messages[order[i]]);
    });
    return digests;
  }
  std::vector<Message> prepared(order.size());
  for (std::size_t i = 0; i < order.size(); ++i) prepared[i].take(messages[order[i]]);
  fork_and_join(others, [&] {
    work_in_lanes(*detail::sha256_instructions(), [&]() -> Work* {
      const std::size_t i = next++;
      return i < order.size() ? &prepared[i].work : nullptr;
    });
  });
  for (std::size_t i = 0; i < order.size(); ++i) digests[order[i]] = digest_of(prepared[i].work.state);
  return digests;
}

struct Sha256Streams::Stream {
  std::uint64_t size = 0;                          // of all data so far
  std::array<std::uint8_t, kSha256Block> begun{};  // the block that the data ends in
  ByteView rest;  // behind the blocks that wait; goes into `begun` afterwards
  Work work;
  std::optional<Sha256Hasher> evp;

  // Blocks of `data`, the first of them together with what was begun.
  void take(ByteView data) {
    const std::size_t held = size % kSha256Block;
    size += data.size();
    if (held != 0) {
      const ByteView filling = data.first(std::min(data.size(), kSha256Block - held));
      std::ranges::copy(filling, begun.begin() + static_cast<std::ptrdiff_t>(held));
      data = data.subspan(filling.size());
      if (held + filling.size() == kSha256Block) work.runs[0] = {begun.data(), 1};
    }
    work.runs[1] = {data.data(), data.size() / kSha256Block};
    rest = data.last(data.size() % kSha256Block);
  }
  void end_work() {
    std::ranges::copy(rest, begun.begin());
    rest = {};
  }
};

Sha256Streams::Sha256Streams(Sha256Engine engine) : engine_(engine) {}
Sha256Streams::~Sha256Streams() = default;
Sha256Streams::Sha256Streams(Sha256Streams&&) noexcept = default;
Sha256Streams& Sha256Streams::operator=(Sha256Streams&&) noexcept = default;

std::size_t Sha256Streams::begin() {
  if (free_.empty()) {
    streams_.push_back(nullptr);
    free_.reserve(streams_.size());  // so that drop() needs no memory
    free_.push_back(streams_.size() - 1);
  }
  const std::size_t message = free_.back();
  free_.pop_back();
  streams_[message] = std::make_unique<Stream>();
  if (engine_ == Sha256Engine::kEvp) streams_[message]->evp.emplace();
  return message;
}

void Sha256Streams::update(std::size_t message, ByteView data) {
  Stream& stream = *streams_[message];
  if (stream.evp) return stream.evp->update(data);
  if (std::find(waiting_.begin(), waiting_.end(), message) != waiting_.end()) flush();
  stream.take(data);
  waiting_.push_back(message);
}

void Sha256Streams::flush() {
  std::size_t taken = 0;
  if (!waiting_.empty()) {
    work_in_lanes(*detail::sha256_instructions(), [&]() -> Work* {
      while (taken < waiting_.size()) {
        Work& work = streams_[waiting_[taken++]]->work;
        if (!work.is_done()) return &work;
      }
      return nullptr;
    });
  }
  for (const std::size_t message : waiting_) streams_[message]->end_work();
  waiting_.clear();
}

Sha256 Sha256Streams::finish(std::size_t message) {
  if (std::find(waiting_.begin(), waiting_.end(), message) != waiting_.end()) flush();
  const std::unique_ptr<Stream> stream = std::move(streams_[message]);
  drop(message);
  if (stream->evp) return stream->evp->finish();
  const Ending ending(ByteView(stream->begun).first(stream->size % kSha256Block), stream->size);
  stream->work.runs[0] = ending.run();
  work_alone(*detail::sha256_instructions(), stream->work);
  return digest_of(stream->work.state);
}

void Sha256Streams::drop(std::size_t message) noexcept {
  std::erase(waiting_, message);
  streams_[message].reset();
  free_.push_back(message);
}

}  // namespace calseal
