// Checks 1 to 7 of docs/parcel.md: each reason, the order of two faults, every small damage.
#include "calseal/parcel/parcel.h"

#include <gtest/gtest.h>

#include <functional>
#include <map>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/bundle/entries.h"
#include "support/matchers.h"
#include "support/outside_tools.h"
#include "support/parcel_sample.h"

namespace calseal {
namespace {

constexpr std::size_t kHeader = kLocalHeaderSize + kParcelEntry.size();

TEST(Parcel, ReadBackAsWritten) {
  const ParcelSample sample = sample_parcel();
  const auto opened = open_parcel(assemble(sample), "p");
  ASSERT_THAT(opened, IsOk());
  EXPECT_EQ(opened->parcel, sample.parcel);
  EXPECT_EQ(opened->digest, compute_sha256(opened->file));
  EXPECT_THAT(opened->content(0), IsOkAnd(Bytes(2048, 'f')));
  EXPECT_THAT(opened->content(1), IsOkAnd(Bytes{1, 2, 3, 4, 5, 6, 7}));
  EXPECT_THAT(opened->content(2), IsOkAnd(Bytes{'t', 'i', 'm', 'e', '\n'}));
  EXPECT_TRUE(begins_as_parcel(opened->file));
  EXPECT_FALSE(begins_as_parcel(ByteView(opened->file).first(kLocalHeaderSize)));
}

TEST(Parcel, TextIsInTheOrderOfTheFormat) {
  Parcel parcel;
  parcel.key = TestKey(7).public_key();
  parcel.claimed_time = "2026-03-04T05:06:07Z";
  parcel.words = "hello";
  EXPECT_EQ(write_parcel_text(parcel),
            R"({"calseal":"parcel/1","key":")" + to_hex(parcel.key.bytes) +
                R"(","number":1,"claimed_time":"2026-03-04T05:06:07Z","root":"","sheet":"","job":"",)"
                R"("vehicle_reference":"","words":"hello","order":[],"answers":[],"accepted":[],"reads":[],)"
                R"("logs":[],"findings":[],"tool":"","entries":[]})");
  ParcelSample only_words;
  only_words.parcel = parcel;
  EXPECT_THAT(open_parcel(assemble(only_words), "p"), IsOk());
}

TEST(Parcel, AFileIsReadAsTheSameBytesAre) {
  const ScratchFolder scratch;
  const Bytes file = assemble(sample_parcel());
  ASSERT_THAT(write_file(scratch.path("good"), file), IsOk());
  const auto read = read_parcel(scratch.path("good"));
  ASSERT_THAT(read, IsOk());
  EXPECT_EQ(read->file, file);
  EXPECT_EQ(read->parcel, sample_parcel().parcel);
  Bytes longer = file;
  longer.resize(longer.size() + (std::size_t{4} << 20));
  ASSERT_THAT(write_file(scratch.path("longer"), longer), IsOk());
  EXPECT_THAT(read_parcel(scratch.path("longer")), FailsWith(Reason::kFramingDamaged));
  EXPECT_THAT(read_parcel(scratch.path("none")), FailsWith(Reason::kFileMissing));
}

struct BentFile {
  const char* name;
  Reason reason;
  std::function<Bytes()> make;
};
class ParcelFile : public ::testing::TestWithParam<BentFile> {};
TEST_P(ParcelFile, IsRefused) {
  EXPECT_THAT(open_parcel(GetParam().make(), "p"), FailsWith(GetParam().reason));
}

Bytes bent(std::size_t at, std::uint8_t value) {
  Bytes file = assemble(sample_parcel());
  file[at] = value;
  return file;
}

// A parcel.json of other text, under a good signature of key 7.
Bytes with_text(const std::function<void(std::string&)>& bend) {
  std::string text = write_parcel_text(sample_parcel().parcel);
  bend(text);
  return assemble_text(sample_parcel(), text);
}
Bytes with_replaced(std::string_view from, std::string_view to) {
  return with_text([&](std::string& text) { text.replace(text.find(from), from.size(), to); });
}

// The same with another key in it, signed by nobody who has that key.
Bytes with_key(const std::string& digits) {
  const std::string text = write_parcel_text(sample_parcel().parcel);
  std::string other = text;
  other.replace(other.find("key\":\"") + 6, 64, digits);
  const std::vector<ByteView> none;
  PrefixSignature signature = TestKey(7).sign(view_of(other));
  PublicKey key;
  const auto bytes = from_hex(digits);
  if (bytes) std::copy(bytes->begin(), bytes->end(), key.bytes.begin());
  signature.key_id = compute_key_id(key);
  const ParcelSample sample = sample_parcel();
  const std::vector<ByteView> stored(sample.stored.begin(), sample.stored.end());
  return *write_framed(kParcelPrefix, {view_of(other), {signature}}, sample.parcel.entries, stored);
}

// Two signatures, as a bundle may have them.
Bytes signed_twice() {
  PrefixKind two = kParcelPrefix;
  two.signature_limit = 2;
  const ParcelSample sample = sample_parcel();
  const std::string text = write_parcel_text(sample.parcel);
  const std::vector<ByteView> stored(sample.stored.begin(), sample.stored.end());
  return *write_framed(two, {view_of(text), {TestKey(7).sign(view_of(text)), TestKey(2).sign(view_of(text))}},
                       sample.parcel.entries, stored);
}

Bytes unsigned_parcel() {
  const Bytes file = assemble(sample_parcel());
  const auto prefix = read_signed_prefix(file, kParcelPrefix, "p");
  Bytes out = file;
  const auto begin = out.begin() + static_cast<std::ptrdiff_t>(kHeader + prefix->first.size());
  out.erase(begin, out.begin() + static_cast<std::ptrdiff_t>(prefix->end));
  return out;
}

Bytes of(const std::function<void(ParcelSample&)>& bend) {
  ParcelSample sample = sample_parcel();
  bend(sample);
  return assemble(sample);
}

const BentFile kBentFiles[] = {
    {"empty", Reason::kParcelInvalid, [] { return Bytes(); }},
    {"too_short", Reason::kParcelInvalid, [] { return Bytes(97, 'x'); }},
    {"no_zip", Reason::kTypeWrong, [] { return Bytes(98, 'x'); }},
    {"a_bundle", Reason::kTypeWrong, [] { return bent(30, 'm'); }},
    {"prefix_cut", Reason::kParcelInvalid,
     [] {
       Bytes file = assemble(sample_parcel());
       file.resize(kHeader + 100);
       return file;
     }},
    {"crc_of_the_text", Reason::kParcelInvalid, [] { return bent(kHeader + 60, 'x'); }},
    {"unsigned", Reason::kParcelInvalid, unsigned_parcel},
    {"signed_twice", Reason::kParcelInvalid, signed_twice},
    {"another_kind", Reason::kTypeWrong, [] { return with_replaced("parcel/1", "purcel/1"); }},
    {"later_format", Reason::kFormatUnknown, [] { return with_replaced("parcel/1", "parcel/2"); }},
    {"key_comes_later", Reason::kParcelInvalid, [] { return with_replaced("\"key\"", "\"kei\""); }},
    {"key_in_capitals", Reason::kParcelInvalid, [] { return with_key(std::string(64, 'A')); }},
    {"key_cut", Reason::kParcelInvalid, [] { return with_key(std::string(63, 'a') + "\""); }},
    {"id_of_another_key", Reason::kParcelInvalid,
     [] { return assemble_text(sample_parcel(), write_parcel_text(sample_parcel().parcel), 8); }},
    {"weak_key", Reason::kKeyWeak, [] { return with_key("01" + std::string(62, '0')); }},
    {"stolen_name", Reason::kSignatureBad, [] { return with_key(to_hex(TestKey(8).public_key().bytes)); }},
    {"not_json", Reason::kParcelInvalid, [] { return with_replaced("\"number\":3", "\"number\":"); }},
    {"not_canonical", Reason::kParcelInvalid, [] { return with_replaced("\"number\":3", "\"number\": 3"); }},
    {"unknown_key", Reason::kParcelInvalid, [] { return with_replaced("\"tool\"", "\"a\":1,\"tool\""); }},
    {"number_zero", Reason::kParcelInvalid, [] { return with_replaced("\"number\":3", "\"number\":0"); }},
    {"series_seventeen", Reason::kParcelInvalid,
     [] { return with_replaced("\"series\":2", "\"series\":17"); }},
    {"framing", Reason::kFramingDamaged,
     [] {
       Bytes file = assemble(sample_parcel());
       file[file.size() - 1] = 1;
       return file;
     }},
    {"stored_bytes", Reason::kStoredDigest, [] { return of([](ParcelSample& s) { s.stored[1][0] ^= 1; }); }},
    {"content_too_long", Reason::kContentDigest,
     [] { return of([](ParcelSample& s) { s.parcel.entries[0].size -= 1; }); }},
    {"content_of_another_digest", Reason::kContentDigest,
     [] { return of([](ParcelSample& s) { s.parcel.entries[0].digest = Sha256(); }); }},
    {"content_of_another_crc", Reason::kContentDigest,
     [] { return of([](ParcelSample& s) { s.parcel.entries[1].crc32 ^= 1; }); }},
    // Of two faults the earlier check counts.
    {"framing_before_stored", Reason::kFramingDamaged,
     [] {
       Bytes file = of([](ParcelSample& s) { s.stored[1][0] ^= 1; });
       file[file.size() - 1] = 1;
       return file;
     }},
    {"fields_before_framing", Reason::kParcelInvalid,
     [] {
       Bytes file = with_replaced("\"number\":3", "\"number\":0");
       file[file.size() - 1] = 1;
       return file;
     }},
    {"all_stored_before_any_content", Reason::kStoredDigest,
     [] {
       return of([](ParcelSample& s) {
         s.parcel.entries[0].digest = Sha256();
         s.stored[1][0] ^= 1;
       });
     }},
};
INSTANTIATE_TEST_SUITE_P(Table, ParcelFile, ::testing::ValuesIn(kBentFiles),
                         [](const auto& one) { return std::string(one.param.name); });

struct BentParcel {
  const char* name;
  const char* place;
  std::function<void(ParcelSample&)> bend;
};
class ParcelConsistency : public ::testing::TestWithParam<BentParcel> {};
TEST_P(ParcelConsistency, IsRefusedThoughSigned) {
  ParcelSample sample = sample_parcel();
  GetParam().bend(sample);
  EXPECT_THAT(open_parcel(assemble(sample), "p"), FailsWith(Reason::kParcelInvalid, GetParam().place));
}
const BentParcel kBentParcels[] = {
    {"order_twice", "/order/1",
     [](ParcelSample& s) {
       s.parcel.order = {"towing", "towing"};
     }},
    {"order_descending", "/order/1",
     [](ParcelSample& s) {
       s.parcel.order = {"b", "a"};
     }},
    {"question_twice", "/answers/1", [](ParcelSample& s) { s.parcel.answers[1].question = "fuel"; }},
    {"answer_empty", "/answers/0", [](ParcelSample& s) { s.parcel.answers[0].answer = ""; }},
    {"order_without_a_sheet", "/sheet",
     [](ParcelSample& s) {
       s.parcel.sheet.reset();
       s.parcel.answers.clear();
       s.parcel.accepted.clear();
     }},
    {"answer_without_a_sheet", "/sheet",
     [](ParcelSample& s) {
       s.parcel.sheet.reset();
       s.parcel.order.clear();
       s.parcel.accepted.clear();
     }},
    {"caution_without_a_sheet", "/sheet",
     [](ParcelSample& s) {
       s.parcel.sheet.reset();
       s.parcel.order.clear();
       s.parcel.answers.clear();
     }},
    {"same_memory_and_series", "/reads/1", [](ParcelSample& s) { s.parcel.reads[1].series = 1; }},
    {"series_without_the_one_before", "/reads/1", [](ParcelSample& s) { s.parcel.reads[1].series = 3; }},
    {"series_of_another_memory", "/reads/1", [](ParcelSample& s) { s.parcel.reads[1].memory = "eeprom"; }},
    {"series_comes_first", "/reads/0",
     [](ParcelSample& s) { std::swap(s.parcel.reads[0].series, s.parcel.reads[1].series); }},
    {"an_entry_less", "/entries",
     [](ParcelSample& s) {
       s.parcel.entries.pop_back();
       s.stored.pop_back();
     }},
    {"read_of_another_entry", "/reads/0/entry",
     [](ParcelSample& s) { s.parcel.reads[0].entry = "reads/2.bin"; }},
    {"log_of_another_entry", "/logs/0/entry", [](ParcelSample& s) { s.parcel.logs[0].entry = "logs/1.txt"; }},
    {"entry_of_another_name", "/entries/2/name",
     [](ParcelSample& s) { s.parcel.entries[2].name = "../1.log"; }},
    {"stored_of_another_size", "/entries/1", [](ParcelSample& s) { s.parcel.entries[1].size += 1; }},
    {"deflated_to_more", "/entries/0", [](ParcelSample& s) { s.parcel.entries[0].size = 3; }},
    {"deflated_by_too_much", "/entries/0", [](ParcelSample& s) { s.parcel.entries[0].size = 1u << 28; }},
    {"all_contents_too_large", "/entries",
     [](ParcelSample& s) {
       for (ManifestEntry& entry : s.parcel.entries) {
         entry.deflated = true;
         entry.size = std::uint64_t{1} << 28;
         entry.stored_size = std::uint64_t{1} << 20;
       }
     }},
    {"finding_of_a_log", "/findings/1/entry",
     [](ParcelSample& s) { s.parcel.findings[1].entry = "logs/1.log"; }},
    {"findings_out_of_order", "/findings/1/entry",
     [](ParcelSample& s) { s.parcel.findings[1].entry = "reads/1.bin"; }},
    {"code_twice", "/findings/1/code", [](ParcelSample& s) { s.parcel.findings[1].code = "cut-off"; }},
    {"codes_descending", "/findings/1/code", [](ParcelSample& s) { s.parcel.findings[1].code = "blank"; }},
    {"nothing_in_it", "",
     [](ParcelSample& s) {
       const Parcel old = s.parcel;
       s = ParcelSample();
       s.parcel.key = old.key;
       s.parcel.claimed_time = old.claimed_time;
       s.parcel.vehicle_reference = old.vehicle_reference;
     }},
};
INSTANTIATE_TEST_SUITE_P(Table, ParcelConsistency, ::testing::ValuesIn(kBentParcels),
                         [](const auto& one) { return std::string(one.param.name); });

TEST(Parcel, ReadsWithoutAMemoryMayRepeat) {
  ParcelSample sample = sample_parcel();
  sample.parcel.findings.clear();
  sample.parcel.reads[0].memory = sample.parcel.reads[1].memory = "";
  sample.parcel.reads[1].series = 1;
  EXPECT_THAT(open_parcel(assemble(sample), "p"), IsOk());
  sample.parcel.reads[0].controller = sample.parcel.reads[1].controller = "";
  EXPECT_THAT(open_parcel(assemble(sample), "p"), IsOk());
}

TEST(Parcel, AsManyAsMayBeFit) {
  ParcelSample sample = sample_parcel();
  Parcel& parcel = sample.parcel;
  parcel.number = kParcelNumberLimit;
  parcel.words = std::string(65536, '"');
  parcel.order.clear();
  for (std::size_t i = 0; i < kParcelOrderLimit; ++i) parcel.order.push_back("o" + std::to_string(1000 + i));
  parcel.reads.clear();
  parcel.logs.clear();
  parcel.findings.clear();
  parcel.entries.clear();
  for (std::size_t i = 0; i < kParcelReadLimit; ++i)
    parcel.reads.push_back({read_entry_name(i), "engine", "m" + std::to_string(i / 16), i % 16 + 1, ""});
  for (std::size_t i = 0; i < kParcelLogLimit; ++i)
    parcel.logs.push_back({log_entry_name(i), std::nullopt, ""});
  for (std::size_t i = 0; i < 128; ++i) sample.put(i, {});
  for (const ParcelRead& read : parcel.reads) {
    for (const char* code : {"a", "b", "c", "d", "e", "f", "g"})
      parcel.findings.push_back({read.entry, code});
  }
  EXPECT_THAT(open_parcel(assemble(sample), "p"), IsOk());
  sample.parcel.number = kParcelNumberLimit + 1;
  EXPECT_THAT(open_parcel(assemble(sample), "p"), FailsWith(Reason::kParcelInvalid, "/number"));
}

// Every bit flipped, every length cut, a byte appended: nothing passes, and the reason is that of the check.
class ParcelSweep : public ::testing::Test {
 protected:
  ParcelSweep() {
    const auto opened = open_parcel(file_, "p");
    framing_ = opened->framing;
  }
  bool in_content(std::size_t entry, std::size_t at) const {
    return at >= framing_.content_offset(entry) &&
           at < framing_.content_offset(entry) + framing_.entries[entry].stored_size;
  }
  Reason expected(std::size_t at) const {
    if (at < kHeader) return at >= 14 && at < 26 ? Reason::kParcelInvalid : Reason::kTypeWrong;
    if (at < framing_.header_offsets[1]) return Reason::kParcelInvalid;
    if (in_content(1, at)) return Reason::kParcelInvalid;  // its CRC-32
    if (at < framing_.content_offset(1)) return Reason::kParcelInvalid;
    for (std::size_t i = 2; i < framing_.entries.size(); ++i) {
      if (in_content(i, at)) return Reason::kStoredDigest;
    }
    return Reason::kFramingDamaged;
  }

  Bytes file_ = assemble(sample_parcel());
  Framing framing_;
};

TEST_F(ParcelSweep, EveryBitFlip) {
  std::map<Reason, std::size_t> seen;
  for (std::size_t at = 0; at < file_.size(); ++at) {
    for (int bit = 0; bit < 8; ++bit) {
      Bytes bent_file = file_;
      bent_file[at] = static_cast<std::uint8_t>(bent_file[at] ^ (1 << bit));
      const auto opened = open_parcel(std::move(bent_file), "p");
      ASSERT_FALSE(opened.has_value()) << "byte " << at << " bit " << bit;
      ASSERT_EQ(code(opened.error().reason), code(expected(at))) << "byte " << at << " bit " << bit;
      ++seen[opened.error().reason];
    }
  }
  for (const Reason reason :
       {Reason::kTypeWrong, Reason::kParcelInvalid, Reason::kStoredDigest, Reason::kFramingDamaged})
    EXPECT_GT(seen[reason], 0U) << code(reason);
}

TEST_F(ParcelSweep, EveryTruncation) {
  const ScratchFolder scratch;
  for (std::size_t size = 0; size < file_.size(); ++size) {
    const auto opened =
        open_parcel(Bytes(file_.begin(), file_.begin() + static_cast<std::ptrdiff_t>(size)), "p");
    ASSERT_FALSE(opened.has_value()) << size;
    const bool prefix = size < framing_.header_offsets[2];
    ASSERT_EQ(code(opened.error().reason), code(prefix ? Reason::kParcelInvalid : Reason::kFramingDamaged))
        << size;
  }
}

TEST_F(ParcelSweep, EveryAppendedByte) {
  file_.push_back(0);
  for (int value = 0; value < 256; ++value) {
    file_.back() = static_cast<std::uint8_t>(value);
    ASSERT_THAT(open_parcel(file_, "p"), FailsWith(Reason::kFramingDamaged));
  }
}

// What CRC-32 cannot tell: text and header changed together. The signature tells.
TEST_F(ParcelSweep, EveryByteOfTheTextUnderItsOwnCrc) {
  const auto prefix = read_signed_prefix(file_, kParcelPrefix, "p");
  ASSERT_THAT(prefix, IsOk());
  const ParcelSample sample = sample_parcel();
  const std::vector<ByteView> stored(sample.stored.begin(), sample.stored.end());
  const std::string text(text_of(prefix->first));
  for (std::size_t at = 0; at < text.size(); ++at) {
    std::string bent_text = text;
    bent_text[at] = static_cast<char>(bent_text[at] ^ 1);
    const auto bent_file =
        write_framed(kParcelPrefix, {view_of(bent_text), prefix->signatures}, sample.parcel.entries, stored);
    ASSERT_THAT(bent_file, IsOk());
    const auto opened = open_parcel(*bent_file, "p");
    ASSERT_FALSE(opened.has_value()) << at;
    const Reason reason = opened.error().reason;
    ASSERT_TRUE(at < 22   ? reason == Reason::kTypeWrong || reason == Reason::kFormatUnknown
                : at < 95 ? reason == Reason::kParcelInvalid
                          : reason == Reason::kSignatureBad)
        << at << " " << code(reason);
  }
}

}  // namespace
}  // namespace calseal
