#include "calseal/evidence/take_files.h"

#include <algorithm>

#include "calseal/archive/path_text.h"
#include "calseal/base/file.h"
#include "calseal/base/text.h"

namespace calseal {
namespace {

class Taking {
 public:
  Taking(const Survey& survey, bool with_salt, const std::vector<std::string>& but)
      : survey_(survey), with_salt_(with_salt), but_(but) {}

  TakenFiles run() {
    for (const UnseenPlace& place : survey_.unreadable) leave_out(place.path);
    for (const auto* list : {&survey_.links, &survey_.others}) {
      for (const std::string& path : *list) leave_out(path);
    }
    for (const SurveyedFile& file : survey_.files) {
      if (is_wanted(file.path)) take(file);
    }
    return std::move(taken_);
  }

 private:
  bool is_wanted(const std::string& path) const {
    return std::ranges::none_of(but_, [&](const std::string& folder) { return is_below(path, folder); });
  }

  void leave_out(const std::string& path) {
    if (is_wanted(path)) taken_.left_out.push_back(path_text(path));
  }

  void take(const SurveyedFile& file) {
    if (file.kind == FileKind::kPrivateKey) return leave_out(file.path);
    if (file.kind == FileKind::kSalt && !with_salt_) {
      taken_.salt_left_out = true;
      return leave_out(file.path);
    }
    Result<Bytes> bytes =
        file.status.size == 0 ? Result<Bytes>(Bytes()) : read_file(survey_.place(file), kEvidenceSizeLimit);
    if (!bytes) return leave_out(file.path);
    taken_.files.push_back({"job/" + file.path, *std::move(bytes), FileMode::kPublic});
  }

  const Survey& survey_;
  bool with_salt_;
  const std::vector<std::string>& but_;
  TakenFiles taken_;
};

}  // namespace

bool is_below(std::string_view path, std::string_view folder) {
  return path.size() > folder.size() && path.starts_with(folder) && path[folder.size()] == '/';
}

Result<TakenFiles> take_files(const Survey& survey, bool with_salt, const std::vector<std::string>& but) {
  if (survey.bytes() > kEvidenceSizeLimit) {
    return fail({Reason::kFileTooLarge, printable(survey.folders.front()), "",
                 grouped(survey.bytes()) + " bytes", "at most " + grouped(kEvidenceSizeLimit) + " bytes",
                 "move drive logs out of the folder"});
  }
  return Taking(survey, with_salt, but).run();
}

}  // namespace calseal
