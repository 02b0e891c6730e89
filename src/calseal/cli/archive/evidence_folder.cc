#include "calseal/cli/archive/evidence_folder.h"

#include <algorithm>
#include <set>

#include "calseal/base/json_write.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/report/evidence/vehicle_evidence_report.h"

namespace calseal {
namespace {

// As sha256sum writes and reads it (coreutils: a backslash in front where a name is escaped).
std::string sums_of(const std::vector<NewFile>& files) {
  std::string text;
  for (const NewFile& file : files) {
    std::string name;
    for (const char c : file.path)
      name += c == '\\'   ? std::string("\\\\")
              : c == '\n' ? std::string("\\n")
              : c == '\r' ? std::string("\\r")
                          : std::string(1, c);
    text += (name == file.path ? "" : "\\") + digest_text(compute_sha256(file.bytes)) + "  " + name + "\n";
  }
  return text;
}

// What is told about it; its own files are added afterwards, because the texts look among them.
template <typename Evidence>
EvidenceFolder told(const Evidence& evidence, const std::string& tool, const Page& page) {
  EvidenceFolder folder{{}, evidence_json(evidence), evidence_text(evidence, page), false};
  add_text(folder.files, "README.txt", evidence_readme(evidence));
  add_text(folder.files, "VERIFY.txt", evidence_by_hand(evidence));
  add_text(folder.files, "evidence.html", evidence_html(evidence, tool));
  add_text(folder.files, "evidence.json", canonical_json(folder.summary) + "\n");
  return folder;
}

void add_files(EvidenceFolder& folder, std::vector<NewFile> files, const std::string& within = "") {
  for (NewFile& file : files) folder.files.push_back({within + file.path, std::move(file.bytes), file.mode});
}

void add_sums(EvidenceFolder& folder) {
  std::ranges::sort(folder.files, {}, &NewFile::path);
  add_text(folder.files, "SHA256SUMS", sums_of(folder.files));
}

}  // namespace

EvidenceFolder folder_of(JobEvidence evidence, const std::string& tool, const Page& page) {
  EvidenceFolder folder = told(evidence, tool, page);
  folder.sound = is_sound(evidence);
  add_files(folder, std::move(evidence.files));
  add_sums(folder);
  return folder;
}

EvidenceFolder folder_of(VehicleEvidence evidence, const std::string& tool, const Page& page) {
  EvidenceFolder whole = told(evidence, tool, page);
  whole.sound = evidence.sound();
  add_files(whole, std::move(evidence.files));
  for (ControllerEvidence& one : evidence.controllers)
    add_files(whole, folder_of(std::move(one.evidence), tool, page).files, one.folder + "/");
  add_sums(whole);
  return whole;
}

std::vector<std::string> folders_of(const std::vector<NewFile>& files) {
  std::set<std::string> folders;
  for (const NewFile& file : files) {
    for (std::size_t slash = file.path.find('/'); slash != std::string::npos;
         slash = file.path.find('/', slash + 1))
      folders.insert(file.path.substr(0, slash));
  }
  return {folders.begin(), folders.end()};
}

}  // namespace calseal
