#include "calseal/report/page/customer_page.h"

#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/trust/sheet.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

struct PageOptions {
  std::string trust, root, sheet, output, tool;
};

struct MadePage {
  TrustFile trust;
  std::string html;
};

Result<MadePage> make_page(const PageOptions& options) {
  CALSEAL_CHECK(refuse_clashes({options.output}, {options.trust, options.sheet}));
  CALSEAL_ASSIGN(const Bytes bytes, read_file(options.trust, kTrustFileSizeLimit));
  MadePage made;
  CALSEAL_ASSIGN(made.trust, parse_trust_file(bytes, options.root, printable(options.trust)));
  Bytes sheet;
  if (!options.sheet.empty()) {
    CALSEAL_ASSIGN(sheet, read_file(options.sheet, kSheetSizeLimit));
    CALSEAL_CHECK(parse_sheet(sheet, made.trust, printable(options.sheet)));
  }
  made.html = customer_page(bytes, made.trust, sheet, options.tool);
  CALSEAL_CHECK(write_file(options.output, view_of(made.html)));
  return made;
}

int run_page(const PageOptions& options, const Console& console) {
  const Result<MadePage> made = make_page(options);
  if (!made) return console.fail(made.error());
  const KeyId root = compute_key_id(made->trust.root);
  const std::string fingerprint = spoken_code(Spoken::kKey, root);
  console.print("made      " + printable(options.output) + "  (" + bytes_text(made->html.size()) +
                ": give it to customers as a file, and have them open it from disk)\n" + "shop      " +
                printable(made->trust.shop) + ", trust file version " + std::to_string(made->trust.version) +
                "\n" + "root      " + fingerprint + "\n" +
                "          read this code aloud: the page shows it, and cannot vouch for itself\n");
  console.print_json(json_object({{"calseal", json("page/1")},
                                  {"output", json(printable(options.output, kShownPathLimit))},
                                  {"size", json(made->html.size())},
                                  {"digest", json(digest_text(compute_sha256(view_of(made->html))))},
                                  {"shop", json(made->trust.shop)},
                                  {"trust_version", json(made->trust.version)},
                                  {"root_id", json(digest_text(root))},
                                  {"root_fingerprint", json(fingerprint)}}));
  return 0;
}

}  // namespace

void add_customer_page_command(CommandLine& app, Console& console, const std::string& tool, int& status) {
  CommandLine* command =
      app.add_subcommand("customer-page", "Make the HTML file in which a customer checks bundles");
  auto options = std::make_shared<PageOptions>();
  options->tool = tool;
  command->add_option("--trust", options->trust, "The shop's trust file; it is baked in")
      ->takes("FILE")
      ->required();
  command
      ->add_option("--root", options->root,
                   "Fingerprint or key id of the root, where the trust file is not your own")
      ->takes("FINGERPRINT");
  command->add_option("--sheet", options->sheet, "The shop's sheet; it is baked in")->takes("FILE");
  command->add_option("-o,--output", options->output, "The HTML file")->takes("FILE")->required();
  set_command(
      *command, console,
      {"calseal customer-page --trust shop.trust -o check.html",
       "calseal customer-page --trust shop.trust --sheet shop.sheet -o check.html"},
      [options](Console& c) { return run_page(*options, c); }, status);
}

}  // namespace calseal
