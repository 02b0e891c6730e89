#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/report/confirmation/confirmation_report.h"
#include "calseal/report/verdict/labelled_lines.h"

namespace calseal {
namespace {

constexpr LabelledLines kLines(kConfirmationColumn);

std::string line(std::string_view label, const std::string& value) { return kLines.line(label, value); }

std::string read_lines(const Confirmation& confirmation) {
  if (!confirmation.read_compared || confirmation.bytes_compared == 0) return {};
  std::string text = line("compared", grouped(confirmation.bytes_compared) + " bytes, of which " +
                                          (confirmation.bytes_differing == 0
                                               ? "all agree"
                                               : grouped(confirmation.bytes_differing) + " " +
                                                     (confirmation.first && !confirmation.first->exact
                                                          ? "lie in spans that differ"
                                                          : "differ")));
  if (confirmation.bytes_changed != 0) {
    text += line("changes", grouped(confirmation.bytes_arrived) + " of " +
                                grouped(confirmation.bytes_changed) + " bytes that change have arrived");
  }
  return text + line("left aside", "learned values, and what belongs to the vehicle alone");
}

std::string scan_lines(const Confirmation& confirmation) {
  std::string text;
  for (const ComparedValue& value : confirmation.scan) {
    std::string said = value.name + " (" + value.kind + "): ";
    switch (value.state) {
      case ScanState::kEqual:
        said += value.tells_apart ? "as sealed; it was another one before" : "as sealed";
        break;
      case ScanState::kDiffers:
        said += "differs";
        break;
      case ScanState::kNotCompared:
        said += "not compared: " + value.why;
        break;
    }
    text += line("scan", said);
  }
  return text;
}

}  // namespace

std::string_view confirmation_word(const Confirmation& confirmation) {
  if (confirmation.reason) return "refused";
  return confirmation.confirmed() ? "confirmed" : "unproved";
}

std::string_view grade_proves(ProofGrade grade) {
  switch (grade) {
    case ProofGrade::kBytes:
      return "every byte that the revision pins was read back as sealed, and the checksums hold";
    case ProofGrade::kVerificationNumber:
      return "the controller reports the verification number that the sealed calibration has";
    case ProofGrade::kIdentity:
      return "the controller reports names that the sealed software has";
    case ProofGrade::kNone:
      return "nothing: no value was given that the bundle can be compared with";
  }
  return {};
}

std::string_view grade_leaves_open(ProofGrade grade) {
  switch (grade) {
    case ProofGrade::kBytes:
      return "whether the tool read the controller and not a copy of what it wrote; learned values; whether "
             "the calibration is good";
    case ProofGrade::kVerificationNumber:
      return "bytes that the number does not cover, and a controller that reports a stored number; two "
             "calibrations can share one";
    case ProofGrade::kIdentity:
      return "the calibration itself: no byte of it was looked at";
    case ProofGrade::kNone:
      return "everything";
  }
  return {};
}

const std::vector<std::string>& after_writing_cautions(bool confirmed) {
  static const std::vector<std::string> good = {
      "Look at the fault memory before clearing anything, and drive the first minutes gently.",
      "Keep this read-back beside the bundle: it is the record of what was in the controller on that day.",
      "A changed calibration can damage engine or transmission and can end warranty, type approval and "
      "insurance.",
  };
  static const std::vector<std::string> bad = {
      "Do not drive until it is confirmed, and keep the supply voltage up.",
      "Read back again before you write again: a bad read looks like a bad write.",
      "Keep this read-back: whoever made the revision needs it.",
  };
  return confirmed ? good : bad;
}

std::string confirmation_text(const Confirmation& confirmation, const Emphasise& emphasise) {
  std::string text = headline(confirmation_word(confirmation), confirmation.confirmed(), emphasise);
  if (confirmation.confirmed()) text += " by " + std::string(proof_grade_name(confirmation.grade));
  if (confirmation.manifest) text += "  " + subject(*confirmation.manifest);
  text += "\n";
  if (confirmation.reason) {
    text += kLines.reason(*confirmation.reason, emphasise);
  } else {
    text += line("proves", std::string(grade_proves(confirmation.grade)));
    text += line("leaves open", std::string(grade_leaves_open(confirmation.grade)));
    if (confirmation.grade == ProofGrade::kNone) {
      text += line("next", emphasise(Emphasis::kWarn,
                                     "give what was read back (--read), or values of a scan tool (--scan)"));
    }
  }
  if (confirmation.manifest) {
    text += kLines.seal({*confirmation.manifest, confirmation.manifest_digest, confirmation.signers,
                         confirmation.shop, confirmation.root_fingerprint});
  }
  text += read_lines(confirmation) + scan_lines(confirmation);
  for (const Caution& caution : confirmation.cautions)
    text += line("caution", caution.code + ": " + printable(caution.text, 400));
  text += "\nAfter writing:\n";
  for (const std::string& caution : after_writing_cautions(confirmation.confirmed()))
    text += "  - " + caution + "\n";
  return text;
}

}  // namespace calseal
