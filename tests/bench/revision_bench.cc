// The work on one revision, in process, beside the floor under it: OpenSSL's one-shot SHA-256 over the bytes
// that must be hashed, zlib's CRC-32 over the bytes that checksums cover, and memcmp. Everything is checked
// before it is timed.
//
// usage: revision_bench FOLDER [ROUNDS]   (images made by calseal-demo-data)
#include <malloc.h>
#include <openssl/evp.h>
#include <zlib.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <cstring>

#include "calseal/base/file.h"
#include "calseal/bundle/entries.h"
#include "calseal/change/compare.h"
#include "calseal/check/check.h"
#include "calseal/check/open.h"
#include "calseal/map/verify.h"
#include "calseal/sign/seal.h"
#include "calseal/sign/statement_sign.h"
#include "median.h"

namespace calseal {
namespace {

std::size_t rounds = 41;

[[noreturn]] void stop(const std::string& why) {
  std::fprintf(stderr, "revision_bench: %s\n", why.c_str());
  std::exit(1);
}

template <typename T>
T must(Result<T> result, const char* what) {
  if (!result) {
    stop(std::string(what) + ": " + std::string(code(result.error().reason)) + " " + result.error().place +
         " " + result.error().found + " " + result.error().expected);
  }
  return *std::move(result);
}

Bytes file(const std::string& path) { return must(read_file(path, std::uint64_t{1} << 30), path.c_str()); }

void hash_alone(ByteView bytes) {
  unsigned char digest[32];
  if (EVP_Digest(bytes.data(), bytes.size(), digest, nullptr, EVP_sha256(), nullptr) != 1) stop("no SHA-256");
}

double mib(std::uint64_t bytes) { return static_cast<double>(bytes) / (1 << 20); }

void print(const char* what, const Contender& ours, const Contender& peer, double aim) {
  std::printf("| %s | %.3f ms | %s | %.3f ms | %.3f | %.3f | %.2f |\n", what, 1e3 * ours.seconds,
              peer.name.c_str(), 1e3 * peer.seconds, ours.seconds / peer.seconds,
              ours.processor_seconds / peer.processor_seconds, aim);
}

// One vehicle's engine: base and a corrected revision.
struct Setting {
  RegionMap map;
  Bytes base_flash, base_eeprom, result_flash;
  Image base, result;
  Plan plan;
  PrivateKey author = must(PrivateKey::from_seed(Bytes(32, 2)), "key");
  PrivateKey root = must(PrivateKey::from_seed(Bytes(32, 1)), "key");
  TrustFile trust;
  Bytes trust_text;
  Bytes salt = Bytes(kSaltSize, 0x5a);
  UtcTime time = *parse_time("2026-03-04T05:06:07Z");

  explicit Setting(const std::string& folder) {
    const std::string map_path = std::string(CALSEAL_DEMO_MAPS) + "/engine.regions.json";
    map = must(parse_region_map(file(map_path), "engine.regions.json"), "region map");
    base_flash = file(folder + "/engine-a-flash.bin");
    base_eeprom = file(folder + "/engine-a-eeprom.bin");
    result_flash = file(folder + "/engine-r1-corrected-flash.bin");
    base = must(load_read(map, {{"flash", "flash.bin", base_flash}, {"eeprom", "eeprom.bin", base_eeprom}}),
                "base")
               .image;
    result =
        must(load_read(map, {{"flash", "flash.bin", result_flash}, {"eeprom", "eeprom.bin", base_eeprom}}),
             "result")
            .image;
    plan = must(make_plan(map, base), "plan");
    trust.shop = "Bench shop";
    trust.root = root.public_key();
    trust.claimed_time = "2026-01-02T03:04:05Z";
    TrustedKey key;
    key.id = author.id();
    key.public_key = author.public_key();
    key.name = "Author";
    key.roles = {Role::kAuthor};
    key.valid_from = "2026-01-01T00:00:00Z";
    trust.keys = {key};
    const std::string text = must(seal_trust_file(trust, root), "trust file");
    trust_text.assign(text.begin(), text.end());
  }

  SealRequest request(PayloadKind payload, Packing packing) const {
    SealRequest request;
    request.map = &map;
    request.statement.job = "job-7";
    request.statement.revision = 1;
    request.statement.sequence = 2;
    request.statement.parent = compute_sha256(view_of("parent"));
    request.statement.vehicle_reference = "bench";
    request.statement.title = "revision 1";
    request.statement.tool = "bench";
    request.statement.claimed_time = time;
    request.base = base;
    request.result = result;
    request.salt = salt;
    request.payload = payload;
    request.packing = packing;
    return request;
  }

  CheckRequest check(const Bytes& bundle) const {
    CheckRequest request;
    request.bundle_name = "b.calseal";
    request.bundle = bundle;
    request.trust_name = "shop.trust";
    request.trust = trust_text;
    request.read = {{"flash", "flash.bin", base_flash}, {"eeprom", "eeprom.bin", base_eeprom}};
    request.evidence.read_is_fresh = true;
    request.evidence.salt = salt;
    request.now = time;
    return request;
  }
};

// Bytes of the pinned spans, and of those that differ between base and result.
struct SpanSizes {
  std::uint64_t pinned = 0, changed = 0, payload = 0;
};

SpanSizes sizes_of(const Manifest& manifest) {
  SpanSizes sizes;
  for (const ManifestSpan& span : manifest.controller().spans) {
    if (!span.after) continue;
    sizes.pinned += span.place.range.size();
    if (span.before != span.after) sizes.changed += span.place.range.size();
  }
  for (const PayloadPart& part : manifest.controller().payload) {
    for (const Range& range : part.ranges) sizes.payload += range.size();
  }
  return sizes;
}

void compare_bench() {
  constexpr std::size_t kSize = std::size_t{4} << 20;
  Bytes a(kSize);
  std::uint64_t state = 1;
  for (std::uint8_t& byte : a) {
    state = state * 6364136223846793005U + 1442695040888963407U;
    byte = static_cast<std::uint8_t>(state >> 56);
  }
  const Bytes same = a;
  Bytes b = a;
  for (std::size_t i = 0; i < 200; ++i) {
    for (std::size_t j = 0; j < 16; ++j) b[i * (kSize / 200) + 100 + j] ^= 0x55;
  }
  if (differing_ranges(a, b).size() != 200) stop("the comparison is wrong");
  std::size_t found = 0;
  int equal = 0;
  std::vector<Contender> contenders{
      {"ours", [&] { found += differing_ranges(a, b).size(); }},
      {"memcmp of equal buffers", [&] { equal += std::memcmp(a.data(), same.data(), kSize); }}};
  time_in_turns(contenders, 5 * rounds);
  print("comparison, 4 MiB, 200 changed ranges", contenders[0], contenders[1], 1 / 0.75);
  if (found == 0 || equal != 0) stop("nothing was compared");
}

void checksums_bench(const Setting& setting) {
  std::uint64_t covered = 0;
  for (const PlanNode& node : setting.plan.nodes) covered += node.message.length();
  for (const CheckOutcome& outcome : verify_checks(setting.plan, setting.result)) {
    if (outcome.state != CheckState::kHolds) stop(outcome.name + " does not hold");
  }
  unsigned long sum = 0;
  std::vector<Contender> contenders{
      {"ours", [&] { sum += verify_checks(setting.plan, setting.result).size(); }},
      {"zlib crc32 over the covered bytes", [&] {
         for (std::uint64_t left = covered; left > 0;) {
           const std::uint64_t n = std::min<std::uint64_t>(left, setting.result_flash.size());
           sum += crc32_z(0, setting.result_flash.data(), static_cast<std::size_t>(n));
           left -= n;
         }
       }}};
  time_in_turns(contenders, rounds);
  char what[100];
  std::snprintf(what, sizeof(what), "all checksums verified, %.1f MiB covered", mib(covered));
  print(what, contenders[0], contenders[1], 0.25);
}

// What one revision took; `processor_seconds` of all threads.
struct Taken {
  Contender check, seal;
};

Contender difference(const Contender& more, const Contender& less) {
  Contender out = more;
  out.seconds -= less.seconds;
  out.processor_seconds -= less.processor_seconds;
  return out;
}

// What deflating adds to a seal and a check, beside zlib at the same level over the same contents.
void deflate_bench(const Setting& setting, const Taken& stored, const Taken& deflated) {
  const SealRequest request = setting.request(PayloadKind::kAreas, Packing::kSmallest);
  const SealedBundle sealed = must(seal(request, {setting.author}, setting.trust), "seal");
  const OpenedBundle opened = must(open_unverified(sealed.file, "b.calseal"), "open");
  std::vector<Bytes> contents, streams;
  for (const ManifestEntry& entry : sealed.manifest.entries) {
    if (!entry.deflated) continue;
    contents.push_back(
        must(read_content(opened.file, opened.framing, opened.manifest, entry.name, ""), "content"));
  }
  const auto deflate_all = [&] {
    streams.clear();
    for (const Bytes& content : contents) {
      uLongf size = compressBound(content.size());
      streams.emplace_back(size);
      if (compress2(streams.back().data(), &size, content.data(), content.size(), 6) != Z_OK)
        stop("no deflate");
      streams.back().resize(size);
    }
  };
  deflate_all();
  Bytes out;
  std::vector<Contender> contenders{
      {"zlib, level 6", deflate_all},
      {"zlib's inflating", [&] {
         for (std::size_t i = 0; i < contents.size(); ++i) {
           uLongf size = contents[i].size();
           out.resize(size);
           if (uncompress(out.data(), &size, streams[i].data(), streams[i].size()) != Z_OK ||
               out != contents[i])
             stop("no inflate");
         }
       }}};
  time_in_turns(contenders, rounds);
  std::printf("\n");
  print("what deflating adds to a seal of areas", difference(deflated.seal, stored.seal), contenders[0], 1);
  print("what inflating adds to a check of areas", difference(deflated.check, stored.check), contenders[1],
        1);
}

Taken revision_bench(const Setting& setting, PayloadKind payload, Packing packing, const char* kind) {
  const SealRequest request = setting.request(payload, packing);
  const SealedBundle sealed = must(seal(request, {setting.author}, setting.trust), "seal");
  const Verdict verdict = check_bundle(setting.check(sealed.file));
  if (verdict.outcome != Outcome::kAccepted) stop("refused: " + verdict.reason->found);
  if (verdict.files.at(0).bytes != setting.result_flash) stop("another image");
  const SpanSizes sizes = sizes_of(sealed.manifest);
  std::uint64_t stored = 0, content = 0;
  for (const ManifestEntry& entry : sealed.manifest.entries) {
    stored += entry.stored_size;
    content += entry.deflated ? entry.size : 0;
  }
  // Sealing: pinned spans of the base, those that changed of the result, entries, and all of it once more by
  // the self-check.
  const std::uint64_t in_check = sizes.pinned + stored + content;
  const std::uint64_t in_seal = sizes.pinned + sizes.changed + stored + content;
  std::printf("\n%s: pinned %.2f MiB, of these changed %.2f; stored entries %.2f, inflated %.2f\n", kind,
              mib(sizes.pinned), mib(sizes.changed), mib(stored), mib(content));
  // The verdict names the digest of every file that it makes, which no digest of spans gives.
  std::uint64_t in_files = 0;
  for (const RebuiltFile& file : verdict.files) in_files += file.bytes.size();
  const Bytes hashed(std::max(in_check + in_files, in_seal + in_check), 0x5a);
  CheckRequest prepared;
  Verdict result;
  std::vector<Contender> contenders{
      {"check", [&] { result = check_bundle(std::move(prepared)); },
       [&] { prepared = setting.check(sealed.file); }},
      {"SHA-256 of pinned + stored + inflated",
       [&] { hash_alone(ByteView(hashed).first(static_cast<std::size_t>(in_check))); }},
      {"SHA-256 of that and of the files made",
       [&] { hash_alone(ByteView(hashed).first(static_cast<std::size_t>(in_check + in_files))); }},
      {"seal", [&] { (void)seal(request, {setting.author}, setting.trust); }},
      {"SHA-256 of pinned + changed + stored + inflated, and of what check hashes",
       [&] { hash_alone(ByteView(hashed).first(static_cast<std::size_t>(in_seal + in_check))); }}};
  time_in_turns(contenders, rounds);
  print((std::string("check, ") + kind).c_str(), contenders[0], contenders[1], 1.00);
  print((std::string("check, ") + kind).c_str(), contenders[0], contenders[2], 1.00);
  print((std::string("seal, ") + kind).c_str(), contenders[3], contenders[4], 1.10);
  return {contenders[0], contenders[3]};
}

int run(const std::string& folder) {
  // What one run frees the next one takes: the time to get fresh memory from the system is whole_process's to
  // measure.
  mallopt(M_MMAP_THRESHOLD, 1 << 30);
  mallopt(M_TRIM_THRESHOLD, 1 << 30);
  const Setting setting(folder);
  std::printf(
      "| what | ours | beside | its time | ratio | of processor time | aim, at most |\n"
      "| --- | --- | --- | --- | --- | --- | --- |\n");
  compare_bench();
  checksums_bench(setting);
  const Taken stored = revision_bench(setting, PayloadKind::kAreas, Packing::kStored, "areas, stored");
  const Taken deflated = revision_bench(setting, PayloadKind::kAreas, Packing::kSmallest, "areas, deflated");
  deflate_bench(setting, stored, deflated);
  revision_bench(setting, PayloadKind::kFull, Packing::kStored, "full, stored");
  return 0;
}

}  // namespace
}  // namespace calseal

int main(int argc, char** argv) {
  if (argc < 2 || argc > 3) {
    std::fprintf(stderr, "usage: revision_bench FOLDER [ROUNDS]\n");
    return 2;
  }
  if (argc == 3) calseal::rounds = std::max<std::size_t>(1, std::strtoul(argv[2], nullptr, 10));
  return calseal::run(argv[1]);
}
