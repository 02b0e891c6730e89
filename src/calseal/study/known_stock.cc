#include "calseal/study/known_stock.h"

#include <algorithm>
#include <filesystem>
#include <optional>
#include <system_error>
#include <utility>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/map/identity.h"
#include "calseal/map/read.h"
#include "calseal/map/segments.h"
#include "calseal/map/verify.h"
#include "calseal/study/folder_entries.h"

namespace calseal {
namespace {

namespace fs = std::filesystem;

const FolderListing kStockListing{"a folder of known stocks",
                                  "give the folder that they are in",
                                  "",
                                  4096,
                                  "entries",
                                  "keep the stocks of one family in a folder of their own"};

// One file as a person keeps it: its memory told by its stem, else as of any read.
ReadFile stock_file(const RegionMap& map, const fs::path& path, Bytes bytes) {
  ReadFile file{"", printable(path.string()), std::move(bytes)};
  const std::string stem = path.stem().string();
  if (recognise_form(file.bytes) != FormKind::kRaw || map.memories.size() == 1) return file;
  for (const MemoryDeclaration& memory : map.memories) {
    if (memory.name == stem) file.memory = memory.name;
  }
  return file;
}

// The stock, or nothing when the files are none of this map's family or fail their checks.
std::optional<KnownStock> stock_of(const RegionMap& map, const std::vector<fs::path>& paths,
                                   std::string name) {
  std::vector<ReadFile> files;
  for (const fs::path& path : paths) {
    Result<Bytes> bytes = read_file(path.string(), kReadFileLimit);
    if (!bytes) return std::nullopt;
    files.push_back(stock_file(map, path, *std::move(bytes)));
  }
  Result<Read> read = load_read(map, std::move(files));
  if (!read || !recognise_family(map, read->image)) return std::nullopt;
  const Result<Plan> plan = make_plan(map, read->image);
  if (!plan || any_fails(verify_checks(*plan, read->image))) return std::nullopt;
  return KnownStock{std::move(name), std::move(read->image)};
}

}  // namespace

Result<std::vector<KnownStock>> load_known_stocks(const RegionMap& map, const std::string& folder) {
  CALSEAL_ASSIGN(const std::vector<fs::path> paths, folder_entries(folder, kStockListing));
  std::vector<KnownStock> stocks;
  for (const fs::path& path : paths) {
    std::vector<fs::path> parts = {path};
    std::error_code fault;
    if (fs::is_directory(path, fault)) {
      Result<std::vector<fs::path>> inside = folder_entries(path.string(), kStockListing);
      if (!inside) continue;
      parts = *std::move(inside);
    }
    if (auto stock = stock_of(map, parts, printable(path.filename().string())))
      stocks.push_back(*std::move(stock));
  }
  return stocks;
}

}  // namespace calseal
