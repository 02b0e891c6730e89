// Runs a fuzz target once over every file of the folders given: the corpus as an ordinary test, without a
// fuzzer. Fails when a folder is missing or has no file, so that a lost corpus is noticed.
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <vector>
#include "fuzz/fuzz_target.h"


namespace {

// Number of files run, or -1 when one could not be read.
long replay(const std::filesystem::path& folder) {
  long files = 0;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(folder)) {
    if (!entry.is_regular_file()) continue;
    std::ifstream in(entry.path(), std::ios::binary);
    const std::vector<char> bytes(std::istreambuf_iterator<char>(in), {});
    if (!in.is_open() || in.bad()) return -1;
    std::fprintf(stderr, "%s\n", entry.path().c_str());  // the last one printed is the one that crashed
    LLVMFuzzerTestOneInput(reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size());
    ++files;
  }
  return files;
}

}  // namespace

int main(int count, char** arguments) {
  if (count < 2) {
    std::fprintf(stderr, "usage: %s FOLDER...\n", arguments[0]);
    return 2;
  }
  for (int i = 1; i < count; ++i) {
    std::error_code ignored;
    const long files = std::filesystem::is_directory(arguments[i], ignored) ? replay(arguments[i]) : 0;
    if (files <= 0) {
      std::fprintf(stderr, "%s: %s\n", arguments[i], files < 0 ? "a file could not be read" : "no files");
      return 1;
    }
    std::printf("%s: %ld files\n", arguments[i], files);
  }
  return 0;
}
