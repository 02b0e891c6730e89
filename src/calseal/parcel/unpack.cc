#include "calseal/parcel/unpack.h"

#include <algorithm>

#include "calseal/base/plain_words.h"

namespace calseal {
namespace {

constexpr std::size_t kEndingLimit = 8;

// The ending of the file's own name, where it is one that any system takes.
std::string ending_of(const std::string& file_name, const std::string& otherwise) {
  const std::size_t dot = file_name.rfind('.');
  const std::string ending = dot == std::string::npos ? "" : lower_case(file_name.substr(dot + 1));
  const bool plain =
      !ending.empty() && ending.size() <= kEndingLimit &&
      std::ranges::all_of(ending, [](char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'); });
  return "." + (plain ? ending : otherwise);
}

}  // namespace

std::vector<std::string> unpacked_names(const Parcel& parcel) {
  std::vector<std::string> names;
  for (std::size_t i = 0; i < parcel.reads.size(); ++i) {
    const ParcelRead& read = parcel.reads[i];
    std::string name = std::to_string(i + 1);
    if (!read.controller.empty()) name += "-" + read.controller;
    if (!read.memory.empty()) name += "-" + read.memory;
    if (read.series > 1) name += "-again-" + std::to_string(read.series);
    names.push_back(name + ending_of(read.file_name, "bin"));
  }
  for (std::size_t i = 0; i < parcel.logs.size(); ++i)
    names.push_back("log-" + std::to_string(i + 1) + ending_of(parcel.logs[i].file_name, "log"));
  return names;
}

}  // namespace calseal
