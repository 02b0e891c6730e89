// Many messages by every engine beside OpenSSL's one-shot SHA-256 of one after the other, in turns. Digests
// are compared before anything is timed. Processor time is that of all threads, so its column says what one
// core gains.
//
// usage: sha256_bench [ROUNDS]
#include <cstdio>
#include <cstdlib>

#include "calseal/digest/sha256_many.h"
#include "median.h"

namespace calseal {
namespace {

Bytes some_bytes(std::size_t size) {
  Bytes bytes(size);
  std::uint64_t state = 1;
  for (std::uint8_t& byte : bytes) {
    state = state * 6364136223846793005U + 1442695040888963407U;
    byte = static_cast<std::uint8_t>(state >> 56);
  }
  return bytes;
}

bool compare(const char* what, const std::vector<ByteView>& messages, std::size_t rounds) {
  std::vector<Sha256> one_by_one;
  for (const ByteView& message : messages) one_by_one.push_back(compute_sha256(message));
  if (compute_sha256_of_each(messages) != one_by_one) return false;
  std::size_t sum = 0;
  std::vector<Contender> contenders{
      {"many", [&] { sum += compute_sha256_of_each(messages).size(); }},
      {"EVP on all cores", [&] { sum += compute_sha256_of_each(messages, Sha256Engine::kEvp).size(); }},
      {"EVP, one by one", [&] {
         for (const ByteView& message : messages) sum += compute_sha256(message).bytes[0];
       }}};
  time_in_turns(contenders, rounds);
  double bytes = 0;
  for (const ByteView& message : messages) bytes += static_cast<double>(message.size());
  const Contender& evp = contenders[2];
  std::printf("| %s | %.2f | %.2f | %.2f | %.2f | %.2f |\n", what, bytes / contenders[0].seconds / 1e9,
              bytes / contenders[1].seconds / 1e9, bytes / evp.seconds / 1e9,
              evp.seconds / contenders[0].seconds, evp.processor_seconds / contenders[0].processor_seconds);
  return sum != 0;
}

std::vector<ByteView> pieces(ByteView all, std::size_t size, std::size_t count) {
  std::vector<ByteView> views;
  for (std::size_t i = 0; i < count; ++i) views.push_back(all.subspan(i * size, size));
  return views;
}

int run(std::size_t rounds) {
  const Bytes data = some_bytes(std::size_t{64} << 20);
  std::printf("engine: %s\n\n", best_sha256_engine() == Sha256Engine::kLanes ? "two lanes" : "EVP");
  std::printf("| GB/s | many | EVP on all cores | EVP, one by one | times EVP | by processor time |\n");
  std::printf("| --- | --- | --- | --- | --- | --- |\n");
  std::vector<ByteView> file_and_spans = pieces(data, 60000, 70);
  file_and_spans.push_back(ByteView(data).last(std::size_t{4} << 20));
  const bool right = compare("1000 of 64 bytes", pieces(data, 64, 1000), rounds) &&
                     compare("200 of 4 KiB", pieces(data, 4096, 200), rounds) &&
                     compare("12 of 64 KiB", pieces(data, 65536, 12), rounds) &&
                     compare("64 of 1 MiB", pieces(data, std::size_t{1} << 20, 64), rounds) &&
                     compare("a file of 4 MiB and 70 spans of 60,000 bytes", file_and_spans, rounds) &&
                     compare("4 MiB alone", pieces(data, std::size_t{4} << 20, 1), rounds);
  if (!right) std::fprintf(stderr, "sha256_bench: wrong digests\n");
  return right ? 0 : 1;
}

}  // namespace
}  // namespace calseal

int main(int argc, char** argv) { return calseal::run(argc > 1 ? std::strtoul(argv[1], nullptr, 10) : 31); }
