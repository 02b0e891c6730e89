// Looking at the files of an archive, one after another: what each of them is worth by itself.
#pragma once

#include <map>
#include <memory>
#include <optional>
#include <string>
#include <unordered_map>
#include <utility>
#include <vector>

#include "calseal/archive/facts.h"
#include "calseal/archive/piece_reader.h"
#include "calseal/archive/survey.h"
#include "calseal/check/proof.h"
#include "calseal/map/region_map.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

// What an earlier audit saw under a name.
struct EarlierFile {
  std::uint64_t size = 0;
  Sha256 digest;
};

// What all examiners of one run share. Plain pointers: the caller keeps everything alive.
struct ExamineContext {
  const Survey* survey = nullptr;
  Depth depth = Depth::kStored;
  std::vector<const TrustFile*> trust;  // the newest first, then those of roots before it
  std::unordered_map<std::string, EarlierFile> earlier;
  // Bundles that say that they are a revision 0, by job and base, ascending by path.
  std::map<std::pair<std::string, std::uint64_t>, std::vector<const SurveyedFile*>> way_backs;
};
ExamineContext make_examine_context(const Survey& survey, Depth depth, std::vector<const TrustFile*> trust);

// Of one thread.
class Examiner {
 public:
  explicit Examiner(const ExamineContext& context);
  Examiner(const Examiner&) = delete;
  Examiner& operator=(const Examiner&) = delete;
  ~Examiner();

  // Facts of files that belong together: bundles of one base, or one other file. In the order given. Never
  // fails; whatever is wrong with a file is told in its facts.
  std::vector<FileFacts> examine(const std::vector<const SurveyedFile*>& files);

 private:
  struct OpenBase;

  FileFacts begin(const SurveyedFile& file) const;
  FileFacts examine_other(const SurveyedFile& file);
  FileFacts examine_bundle(const SurveyedFile& file);
  Status pass_whole(const SurveyedFile& file, FileFacts& facts);
  Status judge_whole(const SurveyedFile& file, FileFacts& facts);
  Status judge_statement(ByteView bytes, const std::string& name, FileFacts& facts);
  Status judge_ledger(const SurveyedFile& file, FileFacts& facts);
  // Opens a bundle whole; nothing after a fault, which is noted.
  std::optional<OpenedBundle> open(const SurveyedFile& file, FileFacts& facts);
  void prove(const OpenedBundle& opened, const SurveyedFile& file, FileFacts& facts);
  // Makes sure that revisions 0 of this job and base are open.
  void open_bases(const BundleHint& hint);
  OpenBase* open_base_of(const SurveyedFile& file);
  std::optional<Bytes> salt_near(const SurveyedFile& file, const Manifest& manifest) const;

  const ExamineContext& context_;
  PieceReader reader_;
  std::optional<std::pair<std::string, std::uint64_t>> bases_of_;
  std::vector<OpenBase> bases_;
  std::optional<RegionMap> last_map_;  // many jobs have the same
};

}  // namespace calseal
