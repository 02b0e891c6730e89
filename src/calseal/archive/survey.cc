#include "calseal/archive/survey.h"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <filesystem>

#include "calseal/base/text.h"

namespace calseal {
namespace {

void look(SurveyedFile& file, const std::string& place) {
  if (file.status.size == 0) {
    file.kind = FileKind::kEmpty;
    return;
  }
  const int fd = ::open(place.c_str(), O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
  std::array<std::uint8_t, kRecogniseSize> beginning{};
  const ssize_t n = fd < 0 ? -1 : ::pread(fd, beginning.data(), beginning.size(), 0);
  if (fd >= 0) ::close(fd);
  file.readable = n >= 0;
  if (n < 0) return;
  const ByteView bytes = ByteView(beginning).first(static_cast<std::size_t>(n));
  file.kind = recognise(bytes);
  if (file.kind == FileKind::kBundle) file.hint = hint_of_bundle(bytes);
}

std::string shown_path(const std::vector<std::string>& folders, const std::string& folder,
                       const std::string& path) {
  if (folders.size() == 1) return path;
  return path == "." ? folder : folder + "/" + path;
}

Status refuse_overlap(const std::vector<std::string>& folders) {
  const auto error = [](const std::string& folder, std::string found) {
    return fail({Reason::kUsage, printable(folder), "DIR", std::move(found), "folders that lie apart",
                 "name each folder of the archive once"});
  };
  if (folders.empty()) return error("", "no folder");
  std::vector<std::string> places;
  for (const std::string& folder : folders) {
    std::error_code code;
    places.push_back(std::filesystem::weakly_canonical(folder, code).string() + "/");
    for (std::size_t i = 0; i + 1 < places.size(); ++i) {
      if (places.back().starts_with(places[i]) || places[i].starts_with(places.back()))
        return error(folder, "a folder that lies in another one, or is the same");
    }
  }
  return {};
}

}  // namespace

std::string SurveyedFile::share_name() const {
  if (!hint) return path;
  const std::size_t slash = path.rfind('/');
  const std::string folder = slash == std::string::npos ? "" : path.substr(0, slash);
  return folder + "\n" + hint->job + "\n" + std::to_string(hint->base);
}

std::uint64_t Survey::bytes() const {
  std::uint64_t total = 0;
  for (const SurveyedFile& file : files) total += file.size();
  return total;
}

Sha256 Survey::digest() const {
  Sha256Hasher hasher;
  for (const SurveyedFile& file : files) {
    const std::string line = std::to_string(file.path.size()) + " " + file.path + " " +
                             std::to_string(file.status.size) + " " + std::string(file_kind_name(file.kind)) +
                             "\n";
    hasher.update(view_of(line));
  }
  return hasher.finish();
}

const SurveyedFile* Survey::find(std::string_view path) const {
  const auto at = std::ranges::lower_bound(files, path, {}, &SurveyedFile::path);
  return at != files.end() && at->path == path ? &*at : nullptr;
}

std::string Survey::place(const SurveyedFile& file) const {
  // One of several folders is the beginning of the path already.
  if (folders.size() != 1) return file.path;
  return (folders.front() == "/" ? "" : folders.front()) + "/" + file.path;
}

Result<Survey> survey_archive(std::vector<std::string> folders) {
  for (std::string& folder : folders) {
    while (folder.size() > 1 && folder.ends_with('/')) folder.pop_back();
  }
  CALSEAL_CHECK(refuse_overlap(folders));
  Survey survey;
  survey.folders = folders;
  for (const std::string& folder : folders) {
    CALSEAL_ASSIGN(Tree tree, list_tree(folder));
    survey.files.reserve(survey.files.size() + tree.files.size());
    for (const TreeFile& status : tree.files) {
      SurveyedFile file;
      file.path = shown_path(folders, folder, status.path);
      file.status = status;
      look(file, survey.place(file));
      survey.files.push_back(std::move(file));
    }
    for (const UnseenPlace& place : tree.unreadable)
      survey.unreadable.push_back({shown_path(folders, folder, place.path), place.cause});
    for (const auto& [from, to] : {std::pair{&tree.links, &survey.links}, {&tree.others, &survey.others}}) {
      for (const std::string& path : *from) to->push_back(shown_path(folders, folder, path));
    }
  }
  std::ranges::sort(survey.files, {}, &SurveyedFile::path);
  std::ranges::sort(survey.unreadable);
  for (auto* list : {&survey.links, &survey.others}) std::ranges::sort(*list);
  return survey;
}

}  // namespace calseal
