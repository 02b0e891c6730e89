// A small invented controller with one of everything, and a job on it: fixed keys, fixed time, fixed salt.
// The images are kept and corrected by plain code of their own, so that calseal is judged by something else
// than itself.
//
//   flash 0x80000000                                   eeprom 0x00000000
//   000 010 locked    "SMALL", software number at 008  00 20 volatile  adaptation
//   010 010 locked    under the manufacturer's seal    20 10 locked    serial number, binding
//   020 020 locked    code; permitted patch at 028     30 08 editable  revision mark
//   040 040 editable  fuel                             38 08 locked
//   080 040 derived   its complement
//   0c0 004 derived   CRC-32 of fuel
//   0c4 004 derived   balance: the words 000..0c7 sum up to 12345678; reads the CRC, so it is nested
//   100 040 editable  spark
//   140 002 derived   CRC-16 of spark, big-endian
//   180 030 volatile  learned
//   1b0 002 floating  CRC-16 of learned and the first half of fuel
//   1c0 011 locked    VIN, binding; all else is locked
//
// With `vin_dependents` also, all floating because a binding field reaches them:
//   1d8 002           CRC-16 of the VIN
//   1e0 011           the VIN again, complemented
//   1f4 002           sum of the bytes from 1d8 to 1f1, little-endian: through the CRC and the copy
// With `bank` the mirror counts only while eeprom 010, a volatile byte, is 01.
#pragma once

#include <cstdlib>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

#include "calseal/check/check.h"
#include "calseal/sign/seal.h"

namespace calseal {

inline constexpr std::uint64_t kFlash = 0x80000000;

struct SmallMap {
  bool sectors = true;              // four of 0x100 bytes in flash, one in eeprom
  bool floating_reads_fuel = true;  // else the floating checksum depends on learned bytes alone
  bool binding = true;
  bool vin_dependents = false;
  bool bank = false;
  std::string grade = "draft";
  std::string controller = "engine";
};

inline std::string small_map_text(const SmallMap& options = {}) {
  const std::string binds = options.binding ? "true" : "false";
  const std::string vin = options.binding ? "vin" : "other";
  const std::string serial = options.binding ? "serial" : "other";
  std::string text =
      R"({"calseal":"region-map/1","name":"small","controller":")" + options.controller + R"(","version":3,
"memories":[{"name":"flash","origin":"0x80000000","size":1024},{"name":"eeprom","origin":"0x00000000","size":64}],
"recognise":{"all":[{"memory":"flash","at":"0x80000000","bytes":"534d414c4c"}]},
"regions":[
{"name":"fuel","memory":"flash","start":"0x80000040","size":64,"policy":"editable"},
{"name":"spark","memory":"flash","start":"0x80000100","size":64,"policy":"editable"},
{"name":"learned","memory":"flash","start":"0x80000180","size":48,"policy":"volatile"},
{"name":"adaptation","memory":"eeprom","start":"0x00000000","size":32,"policy":"volatile"},
{"name":"mark","memory":"eeprom","start":"0x00000030","size":8,"policy":"editable"}],
"permitted_patches":[{"name":"long-blink","memory":"flash","at":"0x80000028","before":"1122","after":"3344"}],
"copies":[{"name":"mirror","memory":"flash","start":"0x80000080","size":64,"of":{"memory":"flash","start":"0x80000040"},"transform":"complement")";
  if (options.bank) text += R"(,"active_bank":{"memory":"eeprom","at":"0x00000010","equals":"01"})";
  text += "}";
  if (options.vin_dependents) {
    text +=
        R"(,{"name":"vin-again","memory":"flash","start":"0x800001e0","size":17,"of":{"memory":"flash","start":"0x800001c0"},"transform":"complement"})";
  }
  text += R"(],
"checksums":[
{"name":"fuel","algorithm":{"crc":"CRC-32/ISO-HDLC"},"coverage":[{"memory":"flash","start":"0x80000040","size":64}],
"slots":[{"memory":"flash","at":"0x800000c0","size":4}]},
{"name":"head","algorithm":{"sum":{"unit":32}},"coverage":[{"memory":"flash","start":"0x80000000","size":200}],
"rule":{"equals":305419896,"balance":{"memory":"flash","at":"0x800000c4","size":4}}},
{"name":"spark","algorithm":{"crc":"CRC-16/IBM-3740"},"coverage":[{"memory":"flash","start":"0x80000100","size":64}],
"slots":[{"memory":"flash","at":"0x80000140","size":2,"order":"big"}]},
{"name":"learned","algorithm":{"crc":"CRC-16/IBM-3740"},"coverage":[{"memory":"flash","start":"0x80000180","size":48})";
  if (options.floating_reads_fuel) text += R"(,{"memory":"flash","start":"0x80000040","size":32})";
  text += R"(],"slots":[{"memory":"flash","at":"0x800001b0","size":2}]})";
  if (options.vin_dependents) {
    text += R"(,
{"name":"vin","algorithm":{"crc":"CRC-16/IBM-3740"},"coverage":[{"memory":"flash","start":"0x800001c0","size":17}],
"slots":[{"memory":"flash","at":"0x800001d8","size":2}]},
{"name":"vin-sum","algorithm":{"sum":{"unit":8,"accumulator":16}},"coverage":[{"memory":"flash","start":"0x800001d8","size":26}],
"slots":[{"memory":"flash","at":"0x800001f4","size":2}]})";
  }
  text +=
      R"(],
"identity":[
{"name":"software","kind":"software-number","memory":"flash","at":"0x80000008","size":8,"encoding":"ascii"},
{"name":"vin","kind":")" +
      vin + R"(","memory":"flash","at":"0x800001c0","size":17,"encoding":"ascii","binds":)" + binds + R"(},
{"name":"serial","kind":")" +
      serial + R"(","memory":"eeprom","at":"0x00000020","size":16,"encoding":"hex","binds":)" + binds + R"(},
{"name":"mark","kind":"revision-mark","memory":"eeprom","at":"0x00000030","size":8,"encoding":"hex"}],
"manufacturer_signed":[{"name":"boot","places":[{"memory":"flash","start":"0x80000010","size":16}]}])";
  if (options.sectors) {
    text +=
        R"(,"erase_sectors":[{"memory":"flash","start":"0x80000000","size":256,"count":4},{"memory":"eeprom","start":"0x00000000","size":64,"count":1}])";
  }
  const std::string verified = options.grade == "verified" ? "\"" + std::string(64, 'a') + "\"" : "";
  return text + R"(,"evidence":{"author":"tests","verified_on":[)" + verified +
         R"(],"guesses":[],"grade":")" + options.grade + "\"}}";
}

// The bytes of one controller, outside of calseal's own types.
struct SmallImage {
  Bytes flash, eeprom;
  friend bool operator==(const SmallImage&, const SmallImage&) = default;
};

namespace small {

// CRC-32/ISO-HDLC and CRC-16/IBM-3740, one bit after the other.
inline std::uint32_t crc32(ByteView bytes) {
  std::uint32_t crc = 0xffffffff;
  for (const std::uint8_t byte : bytes) {
    crc ^= byte;
    for (int bit = 0; bit < 8; ++bit) crc = (crc >> 1) ^ ((crc & 1U) != 0 ? 0xedb88320U : 0U);
  }
  return ~crc;
}
inline std::uint32_t crc16(ByteView bytes) {
  std::uint32_t crc = 0xffff;
  for (const std::uint8_t byte : bytes) {
    crc ^= static_cast<std::uint32_t>(byte) << 8;
    for (int bit = 0; bit < 8; ++bit) crc = ((crc << 1) ^ ((crc & 0x8000U) != 0 ? 0x1021U : 0U)) & 0xffffU;
  }
  return crc;
}
inline void put_little(Bytes& bytes, std::size_t at, std::uint32_t value, int size) {
  for (int i = 0; i < size; ++i)
    bytes[at + static_cast<std::size_t>(i)] = static_cast<std::uint8_t>(value >> (8 * i));
}

}  // namespace small

// Sets every derived place, floating ones included.
inline void correct_small(SmallImage& image, const SmallMap& map = {}) {
  Bytes& f = image.flash;
  for (std::size_t i = 0; i < 0x40; ++i) f[0x80 + i] = static_cast<std::uint8_t>(~f[0x40 + i]);
  small::put_little(f, 0xc0, small::crc32(ByteView(f).subspan(0x40, 0x40)), 4);
  std::uint32_t rest = 0x12345678;
  for (std::size_t i = 0; i < 0xc4; i += 4) {
    rest -= f[i] | static_cast<std::uint32_t>(f[i + 1]) << 8 | static_cast<std::uint32_t>(f[i + 2]) << 16 |
            static_cast<std::uint32_t>(f[i + 3]) << 24;
  }
  small::put_little(f, 0xc4, rest, 4);
  const std::uint32_t spark = small::crc16(ByteView(f).subspan(0x100, 0x40));
  f[0x140] = static_cast<std::uint8_t>(spark >> 8);
  f[0x141] = static_cast<std::uint8_t>(spark);
  Bytes message(f.begin() + 0x180, f.begin() + 0x1b0);
  if (map.floating_reads_fuel) message.insert(message.end(), f.begin() + 0x40, f.begin() + 0x60);
  small::put_little(f, 0x1b0, small::crc16(message), 2);
  if (!map.vin_dependents) return;
  small::put_little(f, 0x1d8, small::crc16(ByteView(f).subspan(0x1c0, 0x11)), 2);
  for (std::size_t i = 0; i < 0x11; ++i) f[0x1e0 + i] = static_cast<std::uint8_t>(~f[0x1c0 + i]);
  std::uint32_t sum = 0;
  for (std::size_t i = 0x1d8; i < 0x1f2; ++i) sum += f[i];
  small::put_little(f, 0x1f4, sum, 2);
}

inline void put(Bytes& bytes, std::size_t at, std::string_view text) {
  std::copy(text.begin(), text.end(), bytes.begin() + static_cast<std::ptrdiff_t>(at));
}

inline SmallImage small_base(const SmallMap& map = {}) {
  SmallImage image{Bytes(0x400, 0xff), Bytes(0x40, 0xff)};
  put(image.flash, 0x000, "SMALL");
  put(image.flash, 0x008, "SJ-00001");
  for (std::size_t i = 0; i < 0x10; ++i) image.flash[0x10 + i] = static_cast<std::uint8_t>(0xa0 + i);
  for (std::size_t i = 0; i < 0x20; ++i) image.flash[0x20 + i] = static_cast<std::uint8_t>(7 * i + 1);
  put(image.flash, 0x28, "\x11\x22");
  for (std::size_t i = 0; i < 0x40; ++i) image.flash[0x40 + i] = static_cast<std::uint8_t>(3 * i);
  for (std::size_t i = 0; i < 0x40; ++i) image.flash[0x100 + i] = static_cast<std::uint8_t>(0x80 - i);
  for (std::size_t i = 0; i < 0x30; ++i) image.flash[0x180 + i] = static_cast<std::uint8_t>(i * i);
  put(image.flash, 0x1c0, "1M8GDM9AXKP042788");
  for (std::size_t i = 0; i < 0x20; ++i) image.eeprom[i] = static_cast<std::uint8_t>(0x55 ^ i);
  for (std::size_t i = 0; i < 0x10; ++i) image.eeprom[0x20 + i] = static_cast<std::uint8_t>(0x31 + i);
  if (map.bank) image.eeprom[0x10] = 0x01;
  put(image.eeprom, 0x38, "tail\x01\x02\x03\x04");
  correct_small(image, map);
  return image;
}

// An edit as a tuner makes it, corrected.
inline SmallImage edited_small(SmallImage image, std::uint8_t value, const SmallMap& map = {}) {
  image.flash[0x44] = value;
  image.flash[0x110] = static_cast<std::uint8_t>(value + 1);
  image.eeprom[0x31] = value;
  correct_small(image, map);
  return image;
}

// What the controller does while it is driven: other learned values, its own checksum over them.
inline SmallImage driven_small(SmallImage image, std::uint8_t value, const SmallMap& map = {}) {
  for (std::size_t i = 0; i < 0x30; i += 5) image.flash[0x180 + i] = static_cast<std::uint8_t>(value + i);
  image.eeprom[3] = value;
  correct_small(image, map);
  return image;
}

inline PrivateKey small_key(std::uint8_t value) {
  auto key = PrivateKey::from_seed(Bytes(32, value));
  if (!key) std::abort();
  return *std::move(key);
}

inline TrustedKey small_trusted(const PrivateKey& key, std::string name, Role role) {
  TrustedKey out;
  out.id = key.id();
  out.public_key = key.public_key();
  out.name = std::move(name);
  out.roles = {role};
  out.valid_from = "2026-01-01T00:00:00Z";
  return out;
}

// Root is the key of seed 1, author 2, reviewer 3, stranger 4.
class SmallJob {
 public:
  explicit SmallJob(const SmallMap& map_options = {}) : options(map_options), base(small_base(options)) {
    const std::string text = small_map_text(options);
    auto parsed = parse_region_map(Bytes(text.begin(), text.end()), "small.json");
    if (!parsed)
      throw std::runtime_error(std::string(code(parsed.error().reason)) + " " + parsed.error().place + " " +
                               parsed.error().found);
    map = *std::move(parsed);
    trust.shop = "Small shop";
    trust.root = root.public_key();
    trust.claimed_time = "2026-01-02T03:04:05Z";
    trust.keys = {small_trusted(author, "Author", Role::kAuthor),
                  small_trusted(reviewer, "Reviewer", Role::kReviewer)};
    std::ranges::sort(trust.keys, {}, &TrustedKey::id);
  }

  SmallMap options;
  RegionMap map;
  SmallImage base;
  Bytes salt = Bytes(kSaltSize, 0x5a);
  PrivateKey root = small_key(1), author = small_key(2), reviewer = small_key(3), stranger = small_key(4);
  TrustFile trust;
  UtcTime time = *parse_time("2026-03-04T05:06:07Z");

  Bytes trust_file() const {
    const auto text = seal_trust_file(trust, root);
    if (!text) throw std::runtime_error("trust file: " + std::string(code(text.error().reason)));
    return {text->begin(), text->end()};
  }

  TrustedKey& author_entry() { return *std::ranges::find(trust.keys, author.id(), &TrustedKey::id); }

  Image image_of(const SmallImage& bytes) const {
    Image image = blank_image(map);
    image.memories[0].bytes = bytes.flash;
    image.memories[1].bytes = bytes.eeprom;
    for (Memory& memory : image.memories) memory.known = RangeSet(memory.extent);
    return image;
  }

  SealRequest request(std::uint64_t revision, const SmallImage& result) const {
    SealRequest request;
    request.map = &map;
    request.statement.job = "job-7";
    request.statement.revision = revision;
    request.statement.sequence = revision + 1;
    if (revision != 0) request.statement.parent = compute_sha256(view_of("parent"));
    request.statement.vehicle_reference = "blue estate";
    request.statement.title = "revision " + std::to_string(revision);
    request.statement.tool = "tests";
    request.statement.claimed_time = time;
    request.base = image_of(base);
    request.result = image_of(result);
    request.salt = salt;
    if (revision == 0) {
      request.files = {{"flash", "raw", base.flash.size(), compute_sha256(base.flash)},
                       {"eeprom", "raw", base.eeprom.size(), compute_sha256(base.eeprom)}};
    }
    return request;
  }

  Result<SealedBundle> seal_base() const { return seal(request(0, base), {author}, trust); }
  Result<SealedBundle> seal_revision(std::uint64_t revision, const SmallImage& result) const {
    return seal(request(revision, result), {author}, trust);
  }

  static std::vector<ReadFile> files_of(const SmallImage& read) {
    return {{"flash", "flash.bin", read.flash}, {"eeprom", "eeprom.bin", read.eeprom}};
  }

  // With all the evidence that there is.
  CheckRequest check_request(const Bytes& bundle, const SmallImage& read) const {
    CheckRequest request;
    request.bundle_name = "b.calseal";
    request.bundle = bundle;
    request.trust_name = "shop.trust";
    request.trust = trust_file();
    request.read = files_of(read);
    request.evidence.read_is_fresh = true;
    request.evidence.salt = salt;
    request.now = time;
    return request;
  }
  Verdict check(const Bytes& bundle, const SmallImage& read) const {
    return check_bundle(check_request(bundle, read));
  }
};

inline SmallImage rebuilt_small(const Verdict& verdict) {
  if (verdict.files.size() != 2) return {};
  return {verdict.files[0].bytes, verdict.files[1].bytes};
}

}  // namespace calseal
