#include <unistd.h>

#include <map>
#include <memory>

#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/query/query_commands.h"
#include "calseal/cli/query/reading_progress.h"
#include "calseal/cli/shop/shop_defaults.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/query/known_words.h"
#include "calseal/report/query/query_report.h"

namespace calseal {
namespace {

struct FindOptions {
  std::string folder, trust;
  bool rebuild = false;
  std::vector<std::vector<std::string>> values;  // one list for each word
};

Result<int> run(const FindOptions& options, const Console& console) {
  std::vector<Criterion> criteria;
  for (std::size_t i = 0; i < criterion_words().size(); ++i) {
    const CriterionWord& word = criterion_words()[i];
    for (const std::string& value : options.values[i]) {
      CALSEAL_ASSIGN(Criterion criterion, parse_criterion(word.kind, value, "--" + std::string(word.word)));
      criteria.push_back(std::move(criterion));
    }
  }
  LoadedTrust loaded;
  if (!options.trust.empty()) {
    CALSEAL_ASSIGN(loaded, load_trust(options.trust));
  }
  Progress progress(console, "reading the archive");
  CALSEAL_ASSIGN(const Index index,
                 open_index(options.folder, {options.rebuild, reading_progress(progress), kLockWait}));
  CALSEAL_ASSIGN(const std::vector<FoundRevision> found,
                 find_revisions(index, criteria, options.trust.empty() ? nullptr : &loaded.trust));
  if (found.empty()) CALSEAL_CHECK(judge_words(index, criteria));
  console.print(found_text(index, found, page_for(console)));
  console.print_json(found_json(index, found));
  return index.unread.empty() ? 0 : 1;
}

}  // namespace

void add_find_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command = app.add_subcommand("find", "Which sealed revisions of an archive fit a question");
  auto o = std::make_shared<FindOptions>();
  command->add_option("DIR", o->folder, "The archive: a folder of any shape with bundles in it")
      ->takes("FOLDER")
      ->required();
  o->values.resize(criterion_words().size());
  for (std::size_t i = 0; i < criterion_words().size(); ++i) {
    const CriterionWord& word = criterion_words()[i];
    command
        ->add_option("--" + std::string(word.word), o->values[i], std::string(word.meaning) + " (repeatable)")
        ->takes(std::string(word.value))
        ->one_each();
  }
  command->add_option("--trust", o->trust, "The shop's trust file: judges the seal of every answer")
      ->takes("FILE");
  add_shop_option(*command, {kShopTrust});
  command->add_flag("--rebuild", o->rebuild, "Read all bundles anew, whatever the index holds");
  set_command(
      *command, console,
      {"calseal find archive --touches flash:0x80040000-0x8004ffff --trust shop.trust",
       "calseal find archive --option launch --software DU-00001 --json",
       "calseal find archive --map $(sha256sum engine.json | cut -d' ' -f1)"},
      [o](Console& c) { return run(*o, c); }, status);
}

}  // namespace calseal
