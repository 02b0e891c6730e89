// Looking at the files of an archive, one after another: what each of them is worth by itself.
#pragma once

#include <array>
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
#include "calseal/check/open.h"
#include "calseal/check/proof.h"
#include "calseal/digest/sha256_many.h"
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

  // Facts of files, in the order given; bundles of one base should stand together, its revision 0 first.
  // Never fails; whatever is wrong with a file is told in its facts.
  std::vector<FileFacts> examine(const std::vector<const SurveyedFile*>& files);

 private:
  struct OpenBase;
  class Pass;

  static constexpr std::size_t kBeside = 2;  // files that pass by at once

  FileFacts begin(const SurveyedFile& file) const;
  OpenContext open_context() const;
  // What `look` says; false when there is too little memory for it, which the facts tell then.
  template <typename Look>
  bool guarded(const SurveyedFile& file, FileFacts& facts, Look look);
  void pass_files(const std::vector<const SurveyedFile*>& files, std::vector<std::size_t> order,
                  std::vector<FileFacts>& all);
  FileFacts prove_bundle(const SurveyedFile& file);
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
  std::array<PieceReader, kBeside> readers_;
  Sha256Streams streams_;
  std::optional<std::pair<std::string, std::uint64_t>> bases_of_;
  std::vector<OpenBase> bases_;
  std::optional<RegionMap> last_map_;  // many jobs have the same
};

}  // namespace calseal
