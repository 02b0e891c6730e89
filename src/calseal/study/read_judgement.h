// What an incoming read is worth: laid into its region map as far as it goes, identified, checked, searched
// for damage, and compared with known stocks.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/change/compare.h"
#include "calseal/map/identity.h"
#include "calseal/map/read.h"
#include "calseal/map/verify.h"
#include "calseal/study/damage.h"
#include "calseal/study/known_stock.h"

namespace calseal {

enum class ReadGrade : std::uint8_t {
  kMatchesKnownStock,      // every pinned byte equals a known stock of the same software number
  kNotComparable,          // checks hold, and there is no stock to compare with
  kDiffersFromKnownStock,  // checks hold; somebody changed it before us, and `differences` says where
  kChecksumsFail,          // or the read could not be laid whole
};
std::string_view read_grade_name(ReadGrade grade);  // "matches-known-stock", ...

struct ReadJudgement {
  bool recognised = false;
  Error recognition_error;              // when not recognised
  Read read;                            // laid as far as it goes; `sources` only when the files fit
  bool whole = false;                   // the files fit and every declared byte is known
  std::optional<Plan> plan;             // nothing when the image's tables make no sense
  std::vector<IdentityValue> identity;  // fields live in the region map
  std::vector<CheckOutcome> checks;
  std::vector<Damage> damage;       // likeliest first within one memory
  std::vector<std::string> limits;  // what this read cannot prove, one sentence each
  ReadGrade grade = ReadGrade::kChecksumsFail;
  std::string stock;                      // name of the stock compared with, or empty
  std::vector<ChangedRange> differences;  // from that stock, pinned bytes only

  bool sound() const {  // may serve as base: whole or partial, but nothing wrong was seen
    return recognised && damage.empty() && grade != ReadGrade::kChecksumsFail;
  }
};

// Judges the files of one controller against one map, which must outlive the judgement. Files that
// load_read() refuses for their size are laid from their beginning as far as they go. Errors of load_read()
// other than kImageSize, or kFormOpaque for its looks, come back as errors. Of several stocks with the read's
// software number the nearest is named.
//
// Damage is looked for where it can be proved: sizes, swaps, shifts and second images by the recognition
// rule; blank, stuck, repeated and noisy stretches only where a failing check reads and no holding one does.
// So a read whose checks all hold is never called damaged for its looks, and damage in bytes that no check
// reads is seen only by comparing with a stock or a second read.
Result<ReadJudgement> judge_read(const RegionMap& map, const std::vector<ReadFile>& files,
                                 const std::vector<KnownStock>& stocks);

}  // namespace calseal
