// The lines that every report about one bundle has: why it is refused, and what was sealed by whom.
#pragma once

#include <string>
#include <string_view>

#include "calseal/base/result.h"
#include "calseal/bundle/manifest.h"
#include "calseal/report/verdict/verdict_report.h"

namespace calseal {

// Who stands behind a bundle, as the judgement found it.
struct SealFacts {
  const Manifest& manifest;
  const Sha256& digest;  // of the manifest
  const std::vector<std::string>& signers;
  const std::string& shop;
  const std::string& root_fingerprint;
};

class LabelledLines {
 public:
  // `column`: where values start.
  explicit constexpr LabelledLines(std::size_t column) : column_(column) {}

  // Nothing for an empty value.
  std::string line(std::string_view label, const std::string& value) const;
  std::string reason(const Error& reason, const Emphasise& emphasise) const;
  // `place_in_time`: lines that follow the job.
  std::string seal(const SealFacts& facts, const std::string& place_in_time = {}) const;

 private:
  std::size_t column_;
};

// "REFUSED" and the like, with what it is about.
std::string headline(std::string_view word, bool good, const Emphasise& emphasise);
std::string subject(const Manifest& manifest);  // "engine, revision 2 of job oak-17"

}  // namespace calseal
