#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/report/evidence/shell_word.h"
#include "calseal/report/evidence/statement_parts.h"
#include "calseal/report/evidence/vehicle_evidence_report.h"
#include "calseal/trust/key.h"

namespace calseal {
namespace {

std::string controllers_step(const VehicleEvidence& evidence) {
  std::string text =
      "2. Each controller\n\n"
      "The folder of each is evidence by itself, and its VERIFY.txt says what its commands are for. These "
      "lines run them, one\n"
      "controller after another. Each must name the same root key:\n"
      "    " +
      digest_text(compute_key_id(evidence.controllers.front().evidence.chain.trust.root)) +
      "\n"
      "Ask the shop for it, or somebody who wrote it down, by another way than this folder.\n\n"
      "$ work=$(mktemp -d)\n";
  for (std::size_t i = 0; i < evidence.controllers.size(); ++i) {
    const std::string folder = shell_word(evidence.controllers[i].folder);
    const std::string script = "\"$work/" + std::to_string(i + 1) + "\"";
    text += "$ sed -n 's/^\\$ //p' " + folder + "/VERIFY.txt > " + script + "\n$ (cd " + folder +
            " && exec sh -eu " + script + ")\n";
  }
  return text + "\n";
}

std::string sets_step(const VehicleEvidence& evidence) {
  std::string lines, not_whole;
  if (evidence.job) {
    for (const JobSet& set : sets_of(*evidence.job)) {
      std::string files;
      bool whole = set.whole();
      for (const JobSet::Member& member : set.members) {
        const std::string file = member.here ? evidence.file_of(*member.here) : std::string();
        whole = whole && !file.empty();
        files += " " + shell_word(file);
      }
      if (whole)
        lines += "$ python3 by-hand/set.py" + files + "\n";
      else
        not_whole += "\nNot in these commands, because a member is not here: " + set_name(set) + "\n";
    }
  }
  if (lines.empty() && not_whole.empty()) return "3. Sets\n\nNone is in this folder.\n\n";
  return "3. Sets\n\n"
         "Revisions that are valid only together: that each carries the same signed text, that it names "
         "exactly these, and in which\n"
         "order they are written.\n\n" +
         lines + not_whole + "\n";
}

std::string handed_line(const HandedFile& handed, const std::string& controller) {
  if (!handed.kept_as.empty())
    return "$ test \"$(sha256sum < " + shell_word(handed.file) + " | cut -c1-64)\" = \"$(sha256sum < " +
           shell_word(handed.kept_as) + " | cut -c1-64)\"\n";
  std::string line = "$ python3 " + controller + "/by-hand/bundle.py " + controller + "/keys";
  for (const std::string& way_back : handed.before) line += " " + shell_word(way_back);
  return line + " " + shell_word(handed.file) + "\n";
}

std::string handed_step(const VehicleEvidence& evidence) {
  if (evidence.handed.empty()) return "4. The hand-overs\n\nNone is in this folder.\n\n";
  std::string lines, damaged;
  const std::string controller = shell_word(evidence.controllers.front().folder);
  for (const HandedFile& handed : evidence.handed) {
    if (handed.sound || !handed.kept_as.empty())
      lines += handed_line(handed, controller);
    else
      damaged += "\nNot in these commands, because it does not hold: " + printable(handed.file, 1000) + "\n";
  }
  return "4. The hand-overs\n\n"
         "A bundle that went out is the very one in its controller's folder; one that is not there is "
         "verified by itself.\n\n" +
         lines + damaged + "\n";
}

std::string parcels_step(const VehicleEvidence& evidence) {
  if (evidence.parcels.empty()) return "5. Parcels\n\nNone is in this folder.\n\n";
  std::string lines, damaged;
  for (const ParcelEvidence& parcel : evidence.parcels) {
    if (parcel.parcel)
      lines += "$ python3 by-hand/parcel.py controllers " + shell_word(parcel.file) + "\n";
    else
      damaged += "\nNot in these commands, because it does not hold: " + printable(parcel.file, 1000) + "\n";
  }
  return "5. Parcels\n\n"
         "What the customer sent: the signature by his own key, every content, which of them a controller's "
         "folder has byte for byte,\n"
         "and the entries of the ledger that name the file. Whose key it is, only he can say: compare its "
         "fingerprint by voice.\n\n" +
         lines + damaged + "\n";
}

}  // namespace

std::string evidence_by_hand(const VehicleEvidence& evidence) {
  return "How to verify this folder without calseal\n"
         "=========================================\n\n"
         "You need a POSIX shell with coreutils, sed, openssl 3 and python3 with its standard library. Lines "
         "that begin with \"$ \" are to be\n"
         "typed in this folder, in their order, in one session; each ends without an error when all is well. "
         "No calseal is needed, and\n"
         "no private key. Work on a copy.\n\n"
         "1. Nothing has changed since the folder was made\n\n"
         "$ sha256sum --quiet -c SHA256SUMS\n\n"
         "That list cannot vouch for itself. Whoever receives the folder writes down the digest of it, or "
         "has it stamped, on that day:\n\n"
         "$ sha256sum SHA256SUMS\n\n" +
         controllers_step(evidence) + sets_step(evidence) + handed_step(evidence) + parcels_step(evidence) +
         "6. What nothing proves\n\n"
         "vehicle.json, message.txt and the rest of job/ are as they were found; nobody signed them.\n";
}

}  // namespace calseal
