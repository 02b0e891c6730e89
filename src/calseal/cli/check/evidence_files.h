// Files that check and confirm take as evidence, and how their reports are painted.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/cli/console/console.h"
#include "calseal/cli/console/reader.h"
#include "calseal/report/verdict/verdict_report.h"
#include "calseal/trust/succession.h"

namespace calseal {

// Nothing for an empty path.
Status load_file(const std::string& path, std::uint64_t limit, std::optional<NamedBytes>& file);
Status load_files(const std::vector<std::string>& paths, std::uint64_t limit, std::vector<NamedBytes>& files);
// The job's salt; nothing for an empty path.
Status load_salt(const std::string& path, std::optional<Bytes>& salt);

// A verdict or a confirmation with its refusal and its cautions as the reader of this program is told them.
template <typename Judged>
Judged as_told(Judged judged) {
  if (judged.reason) judged.reason = told_to(spoken_to(), *std::move(judged.reason));
  for (Caution& caution : judged.cautions) caution.text = told_to(spoken_to(), std::move(caution.text));
  return judged;
}

// A report's emphasis in the console's tones.
Emphasise emphasis_on(const Console& console);

}  // namespace calseal
