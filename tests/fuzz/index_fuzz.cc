// Any bytes as the index of an archive, and an index of ours with bent bytes or hostile rows: opening it and
// every question end with values; made anew, it answers what it answered before anybody touched it.
#include <sqlite3.h>
#include <stdlib.h>

#include <filesystem>
#include <fstream>

#include "calseal/base/file.h"
#include "calseal/query/find.h"
#include "calseal/query/identify.h"
#include "fuzz/fuzz_target.h"
#include "fuzz/must.h"
#include "fuzz/recipe.h"
#include "support/small_job.h"

namespace {

using namespace calseal;

constexpr std::uint64_t kIndexLimit = std::uint64_t{1} << 24;  // bytes

void put(const std::string& path, ByteView bytes) {
  std::ofstream(path, std::ios::binary | std::ios::trunc)
      .write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
}

std::vector<std::vector<Criterion>> questions(const SmallJob& job) {
  std::vector<std::vector<Criterion>> all(1);
  for (const CriterionWord& word : criterion_words()) {
    Criterion asked;
    asked.kind = word.kind;
    asked.text = word.kind == CriterionKind::kTouches ? "flash" : "engine";
    asked.range = {kFlash, kFlash + 0x400};
    asked.digest = compute_sha256(view_of(small_map_text(job.options)));
    all.push_back({asked});
  }
  return all;
}

struct Archive {
  SmallJob job;
  std::string folder, index, loose;
  Bytes sound;          // the index as it was made
  std::string answers;  // to every question

  Archive() {
    std::string name = (std::filesystem::temp_directory_path() / "calseal-fuzz-XXXXXX").string();
    must(::mkdtemp(name.data()) != nullptr, "a scratch folder");
    folder = name + "/archive";
    loose = name + "/loose.bin";
    index = folder + "/" + std::string(kIndexName);
    std::filesystem::create_directory(folder);
    const SmallImage edited = edited_small(job.base, 5);
    const auto base = job.seal_base();
    const auto revision = job.seal_revision(1, edited);
    must(base.has_value() && revision.has_value(), "the samples seal");
    put(folder + "/r0.calseal", base->file);
    put(folder + "/r1.calseal", revision->file);
    put(loose, edited.flash);
    answers = ask(true);
    sound = *read_file(index, kIndexLimit);
  }

  // What every question finds, or why it could not be answered.
  std::string ask(bool rebuild) {
    IndexOptions options;
    options.rebuild = rebuild;
    options.wait = std::chrono::milliseconds(0);
    const auto opened = open_index(folder, options);
    must(opened.has_value(), "an index that is of no use is made anew, or one in memory serves");
    std::string text;
    for (const std::vector<Criterion>& asked : questions(job)) {
      for (const TrustFile* const trust :
           {static_cast<const TrustFile*>(nullptr), &std::as_const(job).trust}) {
        const auto found = find_revisions(*opened, asked, trust);
        if (!found) must_explain(found.error());
        if (!found) continue;
        for (const FoundRevision& revision : *found)
          text += revision.file + " " + digest_text(revision.identity) + " " +
                  std::string(seal_state_name(revision.seal)) + "\n";
        text += "\n";
      }
    }
    const auto identified = identify(*opened, loose, {}, &job.trust);
    if (!identified) must_explain(identified.error());
    if (!identified) return text;
    text += likeness_name(identified->verdict);
    for (const IdentifiedRevision& revision : identified->revisions) text += " " + revision.revision.file;
    return text;
  }
};

constexpr const char* kColumns[][2] = {
    {"files", "path"},         {"files", "size"},           {"files", "reason"},    {"files", "file"},
    {"revisions", "identity"}, {"revisions", "job"},        {"revisions", "base"},  {"revisions", "revision"},
    {"revisions", "sequence"}, {"revisions", "map"},        {"revisions", "title"}, {"revisions", "file"},
    {"revisions", "time"},     {"revisions", "controller"}, {"spans", "memory"},    {"spans", "first"},
    {"spans", "past"},         {"spans", "kind"},           {"spans", "before"},    {"spans", "after"},
    {"spans", "file"},         {"changes", "memory"},       {"changes", "first"},   {"changes", "past"},
    {"changes", "region"},     {"options", "name"},         {"items", "name"},      {"signers", "key"},
    {"identity", "value"},     {"stock", "digest"},         {"built", "version"},   {"built", "time"},
};
constexpr const char* kValues[] = {
    "-1",
    "0",
    "9223372036854775807",
    "-9223372036854775808",
    "1e308",
    "''",
    "'../../etc/passwd'",
    "x''",
    "randomblob(31)",
    "zeroblob(32)",
    "zeroblob(100000)",
    "CAST(x'ff00fe0a' AS TEXT)",
    "'flash'",
    "2147483648",
    "2147483648+1024",
    "file+1",
};

// Rows that no bundle has. Some break what the schema demands, and are refused.
void write_rows(const std::string& path, const Recipe& recipe) {
  sqlite3* connection = nullptr;
  must(sqlite3_open(path.c_str(), &connection) == SQLITE_OK, "our own index opens");
  for (const Bend& one : recipe.bends) {
    const char* const* const column = kColumns[one.what % std::size(kColumns)];
    const std::string value = kValues[one.how % std::size(kValues)];
    if (std::string_view(column[0]) == "built" && value == "file+1") continue;
    std::string sql = std::string("UPDATE OR IGNORE ") + column[0] + " SET " + column[1] + "=" + value;
    if (one.value % 2 != 0) sql += " WHERE rowid%" + std::to_string(1 + one.where % 5) + "=0";
    sqlite3_exec(connection, sql.c_str(), nullptr, nullptr, nullptr);
  }
  sqlite3_close(connection);
}

Bytes bent(Bytes bytes, const Recipe& recipe) {
  for (const Bend& one : recipe.bends) {
    if (bytes.empty()) break;
    // Two bytes name a place in the first 64 KiB, or a page and a place near its beginning.
    const std::size_t at = (one.what % 2 == 0 ? std::size_t{one.where}
                                              : std::size_t{4096} * (one.where >> 6U) + (one.where & 63U)) %
                           bytes.size();
    if (one.how % 8 == 7) {
      bytes.resize(at);
    } else if (one.how % 2 == 0) {
      bytes[at] = static_cast<std::uint8_t>(bytes[at] ^ (1U << (one.value % 8U)));
    } else {
      bytes[at] = static_cast<std::uint8_t>(one.value);
    }
  }
  return bytes;
}

}  // namespace

// An input that begins with 02 is a recipe for bytes, with 03 one for rows; all others are the index itself.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static Archive archive;
  std::filesystem::remove(archive.index + "-journal");
  if (size > 0 && data[0] == 0x02) {
    put(archive.index, bent(archive.sound, Recipe(data + 1, size - 1)));
  } else if (size > 0 && data[0] == 0x03) {
    put(archive.index, archive.sound);
    write_rows(archive.index, Recipe(data + 1, size - 1));
  } else {
    put(archive.index, {data, size});
  }
  archive.ask(false);
  must(archive.ask(true) == archive.answers, "an index made anew answers from the bundles");
  return 0;
}
