// An incoming read as a page: how `calseal receive` judges it, with everything that was found where it lies.
#pragma once

#include <string>

#include "calseal/base/json.h"
#include "calseal/report/study/study_report.h"

namespace calseal {

// Plain pointers: the caller keeps everything alive.
struct ReadView {
  std::string name;  // of the files, printable
  const RegionMap* map = nullptr;
  const ReadJudgement* judgement = nullptr;
  std::string tool;
};

// The whole file.
std::string read_html(const ReadView& view);

// For --json: {"kind":"read","recognised","sound","grade","findings","failing"}; the last two are counts.
JsonValue read_summary_json(const ReadView& view);

// What the page says on top: "sound", "damaged", ...
std::string_view read_heading(const ReadJudgement& judgement);

}  // namespace calseal
