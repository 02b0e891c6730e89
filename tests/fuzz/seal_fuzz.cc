// Any region map and any edit through the shop's side and back: what seals is accepted from the base and
// rebuilds to exactly what was sealed; from a read that has learned it is rebuilt with what it has learned,
// or refused.
#include "calseal/map/correct.h"
#include "fuzz/accepted_property.h"
#include "fuzz/bend_json.h"
#include "fuzz/fuzz_target.h"
#include "support/small_job.h"

namespace calseal {
namespace {

enum class What : std::uint8_t { kRegionMap, kEdit, kBase, kRead, kCount };

// A job, and what does not change from run to run: its region map's text and the question about a bundle.
struct Prepared {
  SmallJob job;
  std::string map_text;
  CheckRequest question;

  explicit Prepared(const SmallMap& options)
      : job(options), map_text(small_map_text(options)), question(job.check_request({}, job.base)) {
    question.evidence.vehicle_reference = "blue estate";
  }
};

const Prepared& prepared(std::size_t which) {
  static const Prepared whole({}),
      loose({.sectors = false, .floating_reads_fuel = false, .binding = false, .grade = "draft"});
  return which % 2 == 0 ? whole : loose;
}

void change(SmallImage& image, const Bend& bend) {
  Bytes& bytes = bend.how % 4 == 0 ? image.eeprom : image.flash;
  bytes[bend.where % bytes.size()] = static_cast<std::uint8_t>(bend.value);
}

bool corrected(const RegionMap& map, Image& image) {
  const auto plan = make_plan(map, image);
  return plan && correct(*plan, image).has_value();
}

void run(const Recipe& recipe) {
  const Prepared& sample = prepared(recipe.first);
  const SmallJob& small = sample.job;
  const std::string text = bent_json(sample.map_text, recipe.of(What::kRegionMap));
  SmallImage base = small.base, read = base;
  const auto each = [&](What what, auto act) {
    for (const Bend& bend : recipe.of(what)) act(bend);
  };
  each(What::kBase, [&](const Bend& bend) { change(base, bend); });
  const auto map = parse_region_map(Bytes(text.begin(), text.end()), "map");
  if (!map) return must_explain(map.error());
  auto loaded = load_read(*map, SmallJob::files_of(base));
  if (!loaded || !corrected(*map, loaded->image)) return;
  SealRequest request = small.request(recipe.second % 3, base);
  request.map = &*map;
  request.files.clear();
  request.base = loaded->image;
  const auto base_files = render_read(*map, *loaded, loaded->image);
  must(base_files.has_value(), "a read is written back");
  base = {(*base_files)[0], (*base_files)[1]};
  SmallImage result = base;
  if (request.statement.revision != 0) each(What::kEdit, [&](const Bend& bend) { change(result, bend); });
  const auto edited = load_read(*map, SmallJob::files_of(result));
  must(edited.has_value(), "an edit keeps the form");
  request.result = edited->image;
  if (request.statement.revision != 0 && !corrected(*map, request.result)) return;
  if (request.statement.revision == 0) request.result = request.base;
  if ((recipe.second & 64U) != 0) request.payload = PayloadKind::kFull;
  if ((recipe.second & 128U) != 0) request.salt.reset();
  const auto sealed = seal(request, {small.author}, small.trust);
  if (!sealed) {
    must(sealed.error().reason != Reason::kInternal && sealed.error().reason != Reason::kClaimMismatch &&
             sealed.error().reason != Reason::kResultMismatch,
         "the checker agrees with what the sealing side claims");
    return;
  }
  check_confined(*map, request.base, request.result, {});
  const auto check = [&](const SmallImage& from) {
    CheckRequest question = sample.question;
    question.bundle = sealed->file;
    question.read = SmallJob::files_of(from);
    if (!request.salt) question.evidence.salt.reset();
    const Verdict verdict = check_bundle(std::move(question));
    check_verdict(verdict, sealed->file, SmallJob::files_of(from));
    return verdict;
  };
  const Verdict verdict = check(base);
  must(verdict.outcome == Outcome::kAccepted, "what was sealed is accepted from its base");
  const auto expected = render_read(*map, *edited, request.result);
  must(expected.has_value() && verdict.files.size() == 2 && verdict.files[0].bytes == (*expected)[0] &&
           verdict.files[1].bytes == (*expected)[1],
       "and gives the very image that was sealed");
  read = result;
  each(What::kRead, [&](const Bend& bend) { change(read, bend); });
  (void)check(read);
}

}  // namespace
}  // namespace calseal

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  calseal::run(calseal::Recipe(data, size));
  return 0;
}
