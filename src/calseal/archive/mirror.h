// Good copies: what an archive has lost or has damaged, found by digest anywhere in a second tree, and put
// back.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "calseal/archive/judge.h"
#include "calseal/archive/survey.h"
#include "calseal/base/result.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

// Where healing puts what was damaged, below each folder of the archive, under its own path and the first
// eight digits of its digest.
inline constexpr std::string_view kAsideFolder = ".calseal-aside";

struct MirrorRequest {
  const Survey* archive = nullptr;
  const Survey* mirror = nullptr;
  const AuditRecord* record = nullptr;   // of the archive, whole
  const AuditRecord* earlier = nullptr;  // or nothing
  std::vector<const TrustFile*> trust;   // as for the audit
  bool heal = false;                     // else nothing is written
  std::function<bool()> stop;            // asked before each file; may be empty
};

struct Healed {
  std::uint64_t found = 0;    // findings with a good copy
  std::uint64_t healed = 0;   // files put back
  std::vector<Error> failed;  // copies that could not be written
};

// Names a good copy in every finding that has one, and with `heal` puts it back: the damaged file keeps its
// bytes beside (kAsideFolder), the good one takes its place whole or not at all. A copy is good when it is
// what the finding wants: a bundle with that manifest that holds as it is stored, a file with that digest, a
// salt with that digest; where nothing names it, what stands in the same place of the mirror, is of the same
// kind and holds. A ledger is put back as one, from one that is clean, has the same id, and knows every head
// that the archive holds. Cut off anywhere, it can be run again.
Healed heal_archive(const MirrorRequest& request, Judgement& judgement);

}  // namespace calseal
