#include "calseal/sign/sheet_make.h"

#include <memory>
#include <optional>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/option_folder.h"
#include "calseal/cli/shop/sheet_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/cli/shop/statement_options.h"
#include "calseal/parcel/parcel_key.h"
#include "calseal/report/parcel/parcel_report.h"
#include "calseal/sign/next_version.h"

namespace calseal {
namespace {

struct SheetMakeOptions : StatementOptions {
  std::string options, questions, after, parcel_key;
  std::optional<std::uint64_t> number;
};

// The sheet before this one; `text`: as it stands in its file.
Result<std::optional<Sheet>> load_previous(const SheetMakeOptions& options, const TrustFile& trust,
                                           Bytes& text) {
  if (options.after.empty()) return std::optional<Sheet>();
  CALSEAL_ASSIGN(text, read_file(options.after, kSheetSizeLimit));
  CALSEAL_ASSIGN(Sheet sheet, parse_sheet(text, trust, printable(options.after)));
  return std::optional<Sheet>(std::move(sheet));
}

Status state_number(const SheetMakeOptions& options, const std::optional<Sheet>& previous, Sheet& sheet) {
  if (!previous && !options.number)
    return fail(usage_error("--number", "no number", "--number N, or --after the sheet before",
                            "the first sheet of a root has --number 1"));
  const std::uint64_t least = previous ? previous->number + 1 : 1;
  sheet.number = options.number.value_or(least);
  if (sheet.number >= least) return {};
  return fail(usage_error("--number", std::to_string(sheet.number), "at least " + std::to_string(least),
                          "leave it out: it grows by itself"));
}

struct MadeSheet {
  Sheet sheet;
  std::string output, put_aside;
};

Result<MadeSheet> make_sheet(const SheetMakeOptions& options) {
  if (options.output.empty() && options.after.empty())
    return fail(usage_error("--output", "no file to write", "-o FILE, or --after the sheet before",
                            "name the file to write"));
  std::vector<std::string> inputs{options.after, options.trust, options.passphrase_file, options.questions,
                                  options.parcel_key};
  inputs.insert(inputs.end(), options.keys.begin(), options.keys.end());
  if (!options.output.empty()) CALSEAL_CHECK(refuse_clashes({options.output}, inputs));
  CALSEAL_ASSIGN(const LoadedTrust loaded, load_trust(options.trust));
  CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time));
  MadeSheet made;
  Sheet& sheet = made.sheet;
  sheet.root = compute_key_id(loaded.trust.root);
  sheet.claimed_time = time_text(now);
  Bytes text;
  CALSEAL_ASSIGN(const std::optional<Sheet> previous, load_previous(options, loaded.trust, text));
  CALSEAL_CHECK(state_number(options, previous, sheet));
  if (!options.options.empty()) {
    CALSEAL_ASSIGN(const std::vector<OptionFile> files, load_option_folder(options.options));
    CALSEAL_ASSIGN(sheet.options, offered_options(files));
  }
  if (!options.questions.empty()) {
    CALSEAL_ASSIGN(const Bytes questions, read_file(options.questions, kSheetSizeLimit));
    CALSEAL_ASSIGN(sheet.asked, parse_sheet_questions(questions, printable(options.questions)));
  }
  if (!options.parcel_key.empty()) {
    CALSEAL_ASSIGN(const Bytes pem, read_file(options.parcel_key, kPublicKeyFileLimit));
    CALSEAL_ASSIGN(sheet.parcel_key, parse_parcel_key_pem(pem, printable(options.parcel_key)));
  }
  CALSEAL_CHECK(check_sheet_consistency(sheet, printable(options.questions)));
  CALSEAL_ASSIGN(const std::vector<PrivateKey> keys, load_keys(options.keys, options.passphrase_file));
  CALSEAL_ASSIGN(const std::string file,
                 seal_sheet(sheet, SigningKeys(keys.begin(), keys.end()), loaded.trust));
  sheet.digest = compute_sha256(view_of(write_sheet_text(sheet)));
  const VersionPlace place{options.after, options.output};
  const VersionBefore before =
      previous ? VersionBefore{previous->number, previous->root, text} : VersionBefore();
  made.output = place.chosen();
  CALSEAL_ASSIGN(made.put_aside, write_next_version(place, before, view_of(file)));
  return made;
}

Result<int> run_make(const SheetMakeOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const MadeSheet made, make_sheet(options));
  std::string text = "made " + printable(made.output) + "\n" + sheet_text(made.sheet);
  if (!made.put_aside.empty()) text += "The sheet before it is now " + printable(made.put_aside) + ".\n";
  console.print_folded(text, kParcelColumn);
  JsonValue value = json_object({{"calseal", json("sheet-made/1")},
                                 {"output", json(printable(made.output, kShownPathLimit))},
                                 {"put_aside", json(printable(made.put_aside, kShownPathLimit))}});
  add_sheet(value, made.sheet);
  console.print_json(value);
  return 0;
}

}  // namespace

void add_sheet_make_command(CommandLine& sheet, Console& console, int& status) {
  CommandLine* command =
      sheet.add_subcommand("make", "Make and sign a sheet from option files and a list of questions");
  auto o = std::make_shared<SheetMakeOptions>();
  command->add_option("--options", o->options, "Folder of option files: what can be ordered")
      ->takes("FOLDER");
  command->add_option("--questions", o->questions, "Questions, reads and cautions, as docs/sheet.md says")
      ->takes("FILE");
  command
      ->add_option("--parcel-key", o->parcel_key,
                   "Public key to which parcels are closed (calseal key new --for parcels makes it)")
      ->takes("FILE");
  command
      ->add_option("--after", o->after,
                   "The sheet before: this one takes the next number and its name, that one is put aside")
      ->takes("FILE");
  command->add_option("--number", o->number, "Its number, from 1; grows with every sheet")
      ->in_range(1, kJsonIntegerLimit);
  add_statement_options(*command, *o, "with the role sheet");
  command->argument("--output")->required(false);
  set_command(
      *command, console,
      {"calseal sheet make --options options --questions sheet.json --number 1 --key sheet.key --trust "
       "shop.trust -o shop.sheet",
       "calseal sheet make --options options --questions sheet.json --after shop.sheet --key sheet.key "
       "--trust "
       "shop.trust"},
      [o](Console& c) { return run_make(*o, c); }, status);
}

}  // namespace calseal
