// Real files of other people's tools, and a peer that reads and writes the same forms.
//
// Files: all *.hex boot loaders of the Debian package arduino-core-avr, below
// /usr/share/arduino/hardware/arduino/avr/bootloaders. Peer: objcopy of GNU binutils. Both must be installed.
//
// Not all of those files are sound: in 1.8.7+dfsg-1~deb12u1 the code of optiboot for the atmega168 and the
// atmega328 has outgrown its 512 bytes and runs into the version word, so that two addresses are given twice,
// with different values. objcopy takes them in silence; we must refuse them.
#include <gtest/gtest.h>
#include <stdlib.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <set>
#include <sstream>

#include "calseal/base/file.h"
#include "calseal/image/form.h"
#include "support/matchers.h"
#include "unit/image/record_lines.h"

namespace calseal {
namespace {

constexpr char kFolder[] = "/usr/share/arduino/hardware/arduino/avr/bootloaders";

// Whether a file of data records below 1 MiB gives an address twice; read plainly, without our parser.
bool gives_an_address_twice(const Bytes& file) {
  std::istringstream in{std::string(text_of(file))};
  std::set<unsigned long> seen;
  unsigned long base = 0;
  for (std::string line; std::getline(in, line);) {
    const auto number = [&](std::size_t at, std::size_t digits) {
      return std::stoul(line.substr(at, digits), nullptr, 16);
    };
    if (number(7, 2) == 2) base = number(9, 4) * 16;
    if (number(7, 2) != 0) continue;
    for (unsigned long i = 0; i < number(1, 2); ++i) {
      if (!seen.insert(base + number(3, 4) + i).second) return true;
    }
  }
  return false;
}

class ArduinoHex : public ::testing::Test {
 protected:
  void SetUp() override {
    std::string name = ::testing::TempDir() + "/calseal_arduino_XXXXXX";
    ASSERT_NE(mkdtemp(name.data()), nullptr);
    scratch_ = name;
    ASSERT_TRUE(std::filesystem::is_directory(kFolder)) << "install arduino-core-avr";
    for (const auto& entry : std::filesystem::recursive_directory_iterator(kFolder)) {
      if (entry.path().extension() == ".hex") files_.push_back(entry.path());
    }
    std::sort(files_.begin(), files_.end());
    for (const std::filesystem::path& path : files_) {
      if (!gives_an_address_twice(read(path))) sound_.push_back(path);
    }
    ASSERT_GE(sound_.size(), 10U) << "install arduino-core-avr";
  }
  void TearDown() override { std::filesystem::remove_all(scratch_); }

  static Bytes read(const std::filesystem::path& path) {
    const Result<Bytes> file = read_file(path.string(), 1 << 24);
    EXPECT_THAT(file, IsOk());
    return file ? *file : Bytes();
  }

  // What objcopy makes of a file.
  Bytes objcopy(const std::string& from, const std::string& to, const std::filesystem::path& path) const {
    const std::string out = (scratch_ / "out").string();
    const std::string command = "objcopy -I " + from + " -O " + to + " '" + path.string() + "' '" + out + "'";
    EXPECT_EQ(std::system(command.c_str()), 0) << command;
    return read(out);
  }

  Bytes objcopy_text(const std::string& from, const std::string& text) const {
    const std::string in = (scratch_ / "in").string();
    EXPECT_TRUE(write_file(in, view_of(text)).has_value());
    return objcopy(from, "binary", in);
  }

  std::filesystem::path scratch_;
  std::vector<std::filesystem::path> files_;
  std::vector<std::filesystem::path> sound_;  // those that give no address twice
};

// From the first address to the last, holes as zero: what objcopy calls binary.
Bytes flattened(const std::vector<Segment>& segments) {
  Bytes flat;
  for (const Segment& segment : segments) {
    flat.resize(static_cast<std::size_t>(segment.address - segments.front().address), 0);
    flat.insert(flat.end(), segment.bytes.begin(), segment.bytes.end());
  }
  return flat;
}

TEST_F(ArduinoHex, FilesThatContradictThemselvesAreRefusedAndNoOthers) {
  for (const std::filesystem::path& path : files_) {
    SCOPED_TRACE(path.string());
    const Bytes file = read(path);
    const Result<FormFile> hex = parse_form(file, path.string());
    if (gives_an_address_twice(file)) {
      EXPECT_THAT(hex, FailsWith(Reason::kRecordOverlap, "line "));
    } else {
      EXPECT_THAT(hex, IsOk());
    }
  }
}

TEST_F(ArduinoHex, ObjcopyAgreesInBothDirections) {
  for (const std::filesystem::path& path : sound_) {
    SCOPED_TRACE(path.string());
    const Bytes file = read(path);
    const Result<FormFile> hex = parse_form(file, path.string());
    ASSERT_THAT(hex, IsOk());
    ASSERT_EQ(hex->kind, FormKind::kIntelHex);
    ASSERT_FALSE(hex->segments.empty());
    EXPECT_THAT(write_back(*hex, hex->segments), IsOkAnd(file));

    const Bytes raw = objcopy("ihex", "binary", path);
    EXPECT_EQ(flattened(hex->segments), raw);
    const Result<FormFile> s = parse_form(objcopy("ihex", "srec", path), "srec");
    ASSERT_THAT(s, IsOk());
    EXPECT_EQ(s->kind, FormKind::kSRecord);
    EXPECT_EQ(s->segments, hex->segments);

    EXPECT_EQ(objcopy_text("ihex", write_intel_hex(hex->segments)), raw);
    EXPECT_EQ(objcopy_text("srec", write_s_record(hex->segments)), raw);
  }
}

// A changed byte written back is the same change to objcopy.
TEST_F(ArduinoHex, ObjcopyReadsWhatIsWrittenBack) {
  for (const std::filesystem::path& path : sound_) {
    SCOPED_TRACE(path.string());
    const Result<FormFile> hex = parse_form(read(path), path.string());
    ASSERT_THAT(hex, IsOk());
    std::vector<Segment> changed = hex->segments;
    for (Segment& segment : changed) segment.bytes.back() ^= 0xff;
    const Result<Bytes> after = write_back(*hex, changed);
    ASSERT_THAT(after, IsOk());
    EXPECT_EQ(objcopy_text("ihex", std::string(text_of(*after))), flattened(changed));
  }
}

}  // namespace
}  // namespace calseal
