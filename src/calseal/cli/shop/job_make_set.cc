#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/shop_defaults.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/sign/list_job.h"
#include "calseal/sign/set_make.h"

namespace calseal {
namespace {

struct SetOptions {
  std::vector<std::string> bundles, order;
  std::string trust, output;
  bool drivable = false;
};

struct MadeSet {
  SetDescriptor set;
  std::string text;
};

Result<MadeSet> make(const SetOptions& options) {
  CALSEAL_ASSIGN(const LoadedTrust loaded, load_trust(options.trust));
  std::vector<Manifest> members;
  for (const std::string& path : options.bundles) {
    CALSEAL_ASSIGN(Bytes bytes, read_file(path, kBundleSizeLimit));
    CALSEAL_ASSIGN(SealedRevision revision,
                   open_sealed_revision(std::move(bytes), printable(path), loaded.trust));
    members.push_back(std::move(revision.manifest));
  }
  MadeSet made;
  CALSEAL_ASSIGN(made.set, make_set(members, options.order, options.drivable));
  made.text = write_set(made.set);
  return made;
}

int run_set(const SetOptions& options, const Console& console) {
  std::vector<std::string> inputs = options.bundles;
  inputs.push_back(options.trust);
  if (Status status = refuse_clashes({options.output}, inputs); !status) return console.fail(status.error());
  const Result<MadeSet> made = make(options);
  if (!made) return console.fail(made.error());
  if (Status status = write_file(options.output, view_of(made->text)); !status)
    return console.fail(status.error());
  const std::string digest = digest_text(compute_sha256(view_of(made->text)));
  std::string text = "set         " + digest + "\njob         " + made->set.job + "\n";
  for (const std::string& controller : made->set.write_order) {
    const SetMember& member = *made->set.find(controller);
    text += "write       " + controller + ", base " + std::to_string(member.base) + ", sequence " +
            std::to_string(member.sequence) + "\n";
  }
  text += std::string("in between  ") + (made->set.drivable_between ? "may" : "must not") + " be driven\n" +
          "written     " + printable(options.output) + "\n\nNow seal each member again, with --set " +
          printable(options.output) + " and the sequence above.\n";
  console.print(text);
  console.print_json(json_object({{"calseal", json("set-made/1")},
                                  {"output", json(printable(options.output, kShownPathLimit))},
                                  {"set", json(digest)},
                                  {"job", json(made->set.job)},
                                  {"write_order", json_strings(made->set.write_order)},
                                  {"drivable_between", json(made->set.drivable_between)},
                                  {"members", json_array(made->set.members, [](const SetMember& member) {
                                     return json_object({{"controller", json(member.controller)},
                                                         {"base", json(member.base)},
                                                         {"sequence", json(member.sequence)}});
                                   })}}));
  return 0;
}

}  // namespace

void add_job_make_set_command(CommandLine& app, Console& console, int& status) {
  auto options = std::make_shared<SetOptions>();
  CommandLine* set = app.subcommand("job")->add_subcommand(
      "make-set", "Describe revisions of several controllers that belong together");
  set->add_option("BUNDLE", options->bundles, "A sealed revision of each controller")
      ->takes("FILE")
      ->required();
  set->add_option("--trust", options->trust, "The shop's trust file")->takes("FILE")->required();
  set->add_option("--order", options->order, "Controllers in the order of writing; else as given")
      ->takes("NAME,NAME")
      ->separated_by(',');
  set->add_flag("--drivable-between", options->drivable,
                "The vehicle may be driven when only some of them are written (else it must not)");
  set->add_option("-o,--output", options->output, "The set, to be given to seal as --set")
      ->takes("FILE")
      ->required();
  add_shop_option(*set, {kShopTrust});
  set_command(
      *set, console,
      {"calseal job make-set engine-r1.calseal transmission-r1.calseal --trust shop.trust -o set.json",
       "calseal job make-set a.calseal b.calseal --trust shop.trust --order transmission,engine -o set.json "
       "--json"},
      [options](Console& c) { return run_set(*options, c); }, status);
}

}  // namespace calseal
