#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/order_lines.h"
#include "calseal/report/verdict/labelled_lines.h"
#include "calseal/report/verdict/verdict_report.h"

namespace calseal {
namespace {

constexpr std::size_t kColumn = kVerdictColumn;
constexpr LabelledLines kLines(kColumn);

std::string line(std::string_view label, const std::string& value) { return kLines.line(label, value); }

std::string share_text(std::uint64_t hundredths) {
  const std::string cents = std::to_string(hundredths % 100);
  return std::to_string(hundredths / 100) + "." + (cents.size() == 1 ? "0" : "") + cents + " %";
}

std::string vehicle_text(VehicleProof proof) {
  switch (proof) {
    case VehicleProof::kNone:
      return {};
    case VehicleProof::kProved:
      return "proved by the binding fields of the read";
    case VehicleProof::kByReference:
      return "by the vehicle reference given; the read itself proves nothing";
    case VehicleProof::kAsserted:
      return "asserted: no read was given";
  }
  return {};
}

std::string passage_text(Passage passage) {
  switch (passage) {
    case Passage::kUnknown:
      return {};
    case Passage::kNewer:
      return "newer than everything known here";
    case Passage::kNewest:
      return "the newest one known here";
    case Passage::kReturn:
      return "an earlier revision, permitted and asked for";
    case Passage::kWayBack:
      return "the way back: revision 0";
  }
  return {};
}

std::string set_text(const Verdict& verdict) {
  std::string text;
  for (const SetPartner& partner : verdict.partners) {
    text += (text.empty() ? "" : ", then ") + partner.controller + " (sequence " +
            std::to_string(partner.sequence) + (partner.given ? ")" : ", missing)");
  }
  return text;
}

std::string order_text(const Verdict& verdict) {
  if (verdict.outcome == Outcome::kRefused) return {};
  std::string text;
  for (const OrderLine& one : order_lines(*verdict.manifest))
    text += line(text.empty() ? "ordered" : "", order_subject(one) + ": " + order_words(one));
  return text;
}

std::string file_lines(const Verdict& verdict) {
  std::string text;
  for (const RebuiltFile& file : verdict.files) {
    text += line("image", (file.memory.empty() ? "" : file.memory + ", ") + grouped(file.bytes.size()) +
                              " bytes, SHA-256 " + digest_text(file.digest));
  }
  return text;
}

std::string checks_text(const ManifestController& controller) {
  const auto in = [&](CheckState state) {
    return std::ranges::count(controller.checksums, state, &ManifestChecksum::state);
  };
  std::string text =
      std::to_string(in(CheckState::kHolds)) + " of " + std::to_string(controller.checksums.size()) + " hold";
  if (const auto failing = in(CheckState::kFails); failing != 0)
    text += "; " + std::to_string(failing) + " did not hold in the first read and still do not";
  if (const auto unknown = in(CheckState::kNotProvable); unknown != 0)
    text += "; " + (in(CheckState::kFails) == 0 ? "the others are" : std::to_string(unknown) + " are") +
            " not provable";
  return text;
}

std::string result_lines(const Verdict& verdict) {
  if (verdict.outcome != Outcome::kAccepted) return {};
  const ManifestController& controller = verdict.manifest->controller();
  std::string text;
  text += line("proof", vehicle_text(verdict.vehicle));
  text += line("changes", grouped(verdict.bytes_to_change) +
                              " bytes of this read, within the areas declared by region map " +
                              controller.map_name + " version " + std::to_string(controller.map_version) +
                              " (" + controller.map_grade + ")");
  text += line("editable", share_text(verdict.editable_share) + " of the image");
  text += line("checksums", checks_text(controller)) + file_lines(verdict);
  text += line("proved", "from bytes: the software read, every byte to be written, checksums and copies" +
                             std::string(verdict.vehicle == VehicleProof::kProved ? ", the vehicle" : ""));
  return text + line("word",
                     "of the shop, signed and not proved: title, notes, options, order, requirements, times, "
                     "numbers");
}

std::string steps_line(const Verdict& verdict) {
  std::string text;
  std::string row = "  checks  ";
  for (const Step& step : verdict.steps) {
    const char* sign = step.state == StepState::kPassed ? "+" : step.state == StepState::kFailed ? "!" : "-";
    const std::string cell = "  " + std::string(sign) + step.name;
    if (row.size() + cell.size() > 78) {
      text += row + "\n";
      row.assign(kColumn - 2, ' ');
    }
    row += cell;
  }
  return text + row + "\n  " + std::string(kColumn - 2, ' ') +
         "(+ passed, ! failed, - not reached or not asked)\n";
}

constexpr std::size_t kCautionSize = 2000;  // bytes; all that a person must know, and no page of it

std::string caution_line(const Caution& caution) {
  return line("caution", caution.code + ": " + printable(caution.text, kCautionSize));
}

bool is_about_rules(const Caution& caution) { return caution.code == "rules-widened"; }

std::string evidence_line(const Verdict& verdict) {
  std::string given;
  std::string missing;
  for (const EvidenceItem& item : verdict.evidence) {
    std::string& list = item.given ? given : missing;
    list += (list.empty() ? "" : ", ") + item.name;
  }
  return line("given", given) + line("not given", missing);
}

}  // namespace

std::string verdict_text(const Verdict& verdict, const Emphasise& emphasise) {
  std::string text;
  const bool good = verdict.outcome != Outcome::kRefused;
  text += headline(outcome_name(verdict.outcome), good, emphasise);
  if (verdict.manifest) text += "  " + subject(*verdict.manifest);
  if (verdict.outcome == Outcome::kAuthentic) text += "  (seal only: nothing was compared with a controller)";
  text += "\n";
  // Before everything that is as it was: what the shop may do now that it might not do before.
  for (const Caution& caution : verdict.cautions) {
    if (is_about_rules(caution)) text += caution_line(caution);
  }
  if (verdict.reason) text += kLines.reason(*verdict.reason, emphasise);
  if (verdict.manifest) {
    text += kLines.seal(
        {*verdict.manifest, verdict.manifest_digest, verdict.signers, verdict.shop, verdict.root_fingerprint},
        line("order", passage_text(verdict.passage)) + line("set", set_text(verdict)));
  }
  text += line("trust", trust_file_text(verdict));
  if (verdict.manifest) text += order_text(verdict);
  text += result_lines(verdict);
  text += evidence_line(verdict);
  text += steps_line(verdict);
  for (const Caution& caution : verdict.cautions) {
    if (!is_about_rules(caution)) text += caution_line(caution);
  }
  if (verdict.outcome == Outcome::kAccepted) {
    text += "\nBefore you write:\n";
    for (const std::string& caution : writing_cautions()) text += "  - " + caution + "\n";
  }
  if (verdict.outcome == Outcome::kRefused)
    text += "\nDo not write anything from this bundle. Nothing was written here.\n";
  return text;
}

const std::vector<std::string>& writing_cautions() {
  static const std::vector<std::string> cautions = {
      "Only on the vehicle that this read came from, standing still, with the ignition as your writer asks "
      "for.",
      "Hold the supply voltage with a charger made for it; a write that stops half way can leave the "
      "controller dead.",
      "Keep the first read and revision 0 in two places; they are the way back.",
      "After writing: read back, compare, clear no fault codes unseen, and drive the first minutes gently.",
      "A changed calibration can damage engine or transmission and can end warranty, type approval and "
      "insurance.",
      "Emissions and road use: the law of your country decides. Have the work done and judged by licensed "
      "people.",
  };
  return cautions;
}

}  // namespace calseal
