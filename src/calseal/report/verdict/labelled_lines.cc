#include "calseal/report/verdict/labelled_lines.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/trust/key.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {

std::string LabelledLines::line(std::string_view label, const std::string& value) const {
  if (value.empty()) return {};
  std::string text = "  " + std::string(label);
  text.resize(std::max(text.size() + 1, column_), ' ');
  return text + value + "\n";
}

std::string LabelledLines::reason(const Error& reason, const Emphasise& emphasise) const {
  std::string text = line("why", emphasise(Emphasis::kBad, code(reason.reason)) + ": " +
                                     std::string(info(reason.reason).meaning));
  text += line("where", reason.file.empty() || reason.place.empty() ? reason.file + reason.place
                                                                    : reason.file + ": " + reason.place);
  text += line("found", reason.found);
  text += line("expected", reason.expected);
  return text + line("next", emphasise(Emphasis::kWarn, reason.next));
}

std::string LabelledLines::seal(const SealFacts& facts, const std::string& place_in_time) const {
  const Manifest& manifest = facts.manifest;
  std::string signers;
  for (const std::string& name : facts.signers) signers += (signers.empty() ? "" : ", ") + printable(name);
  std::string text;
  text += line("revision", std::to_string(manifest.revision) +
                               (manifest.title.empty() ? "" : ", " + printable(manifest.title)));
  text += line("job", manifest.job + ", base " + std::to_string(manifest.base_number) + ", sequence " +
                          std::to_string(manifest.sequence));
  text += place_in_time;
  text += line("vehicle", printable(manifest.vehicle_reference));
  text += line("sealed", manifest.claimed_time + " (claimed) by " + signers);
  text += line("shop", printable(facts.shop));
  text += line("root", facts.root_fingerprint);
  text += line("identity", digest_text(facts.digest));
  return text + line("phrase", spoken_code(Spoken::kRevision, facts.digest));
}

std::string headline(std::string_view word, bool good, const Emphasise& emphasise) {
  std::string text(word);
  std::ranges::transform(text, text.begin(), [](char c) { return static_cast<char>(c - 'a' + 'A'); });
  return emphasise(good ? Emphasis::kGood : Emphasis::kBad, text);
}

std::string subject(const Manifest& manifest) {
  return manifest.controller().name + ", revision " + std::to_string(manifest.revision) + " of job " +
         manifest.job;
}

}  // namespace calseal
