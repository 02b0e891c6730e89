#include "calseal/cli/check/parcel_command.h"

#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/check/evidence_files.h"
#include "calseal/cli/check/parcel_request.h"
#include "calseal/cli/console/progress.h"
#include "calseal/parcel/closed.h"
#include "calseal/report/parcel/parcel_report.h"

namespace calseal {
namespace {

constexpr std::size_t kShownPathLimit = 16384;

// Both or none: a number that was given out once is never given out again.
Status write_both(const ParcelOptions& options, const MadeParcel& made, ByteView file) {
  CALSEAL_ASSIGN(const std::string customer, write_customer_file(made.customer));
  const bool is_new = options.customer.empty();
  return write_files({{is_new ? options.new_customer : options.customer, view_of(customer),
                       FileMode::kPrivate, is_new ? Existing::kRefuse : Existing::kReplace},
                      {options.output, file, FileMode::kPublic, Existing::kRefuse}});
}

std::string made_text(const ParcelOptions& options, const LoadedParcel& loaded, const MadeParcel& made,
                      std::size_t size, const Console& console) {
  const std::string shop = loaded.trust ? printable(loaded.trust->shop) : "your shop";
  std::string text = "made " + printable(options.output) + ", " + bytes_text(size) + ": send it to " + shop +
                     "\n" +
                     parcel_text(made.parcel, loaded.sheet ? &*loaded.sheet : nullptr, emphasis_on(console));
  if (!made.parcel.findings.empty())
    text +=
        "Something was seen in your reads. Look again while you are still beside the vehicle; the shop is "
        "told the same.\n";
  text += "Your key is " + parcel_fingerprint(made.parcel) + ". " +
          (options.customer.empty() ? "It is new: read it aloud to the shop once, and keep " +
                                          printable(options.new_customer) + ".\n"
                                    : "The shop knows you by it.\n");
  return text + (loaded.sheet && loaded.sheet->parcel_key
                     ? "The parcel is closed: only the shop can read it.\n"
                     : "The parcel is not encrypted: whoever gets it can read what is in it.\n");
}

Result<int> run_parcel(const ParcelOptions& options, const std::string& tool, const Console& console) {
  const std::string& customer = options.customer.empty() ? options.new_customer : options.customer;
  CALSEAL_CHECK(refuse_clashes({options.output, customer}, parcel_inputs(options)));
  Progress progress(console, "reading what was given");
  CALSEAL_ASSIGN(const std::unique_ptr<LoadedParcel> loaded, load_parcel_request(options, tool, console));
  progress.begin("looking at the reads, and packing");
  CALSEAL_ASSIGN(const MadeParcel made, make_parcel(loaded->request, loaded->customer));
  const bool closes = loaded->sheet && loaded->sheet->parcel_key;
  Bytes file = made.file;
  if (closes) {
    CALSEAL_ASSIGN(file, close_parcel(made.file, *loaded->sheet->parcel_key));
  }
  CALSEAL_CHECK(write_both(options, made, file));
  progress.end();
  console.print_folded(made_text(options, *loaded, made, file.size(), console), kParcelColumn);
  JsonValue value = json_object({{"calseal", json("parcel-made/1")},
                                 {"output", json(printable(options.output, kShownPathLimit))},
                                 {"size", json(file.size())},
                                 {"digest", json(digest_text(compute_sha256(made.file)))},
                                 {"closed", json(closes)},
                                 {"customer", json(printable(customer, kShownPathLimit))},
                                 {"new_customer", json(options.customer.empty())}});
  add_parcel(value, made.parcel);
  console.print_json(value);
  return 0;
}

void add_contents(CommandLine& command, ParcelOptions& o) {
  command
      .add_option("--read", o.reads,
                  "A read, with the controller and the memory that it is of, where you know them; a second "
                  "read of the same memory likewise (repeatable)")
      ->takes("[[CONTROLLER.]MEMORY=]FILE")
      ->one_each();
  command
      .add_option("--log", o.logs,
                  "A drive log, with the identity of the revision that was driven, where you know it "
                  "(repeatable)")
      ->takes("[IDENTITY=]FILE")
      ->one_each();
  command.add_option("--words", o.words, "What you want to tell the shop")->takes("TEXT");
  command.add_option("--order", o.order, "An option of the sheet that you order (repeatable)")
      ->takes("NAME")
      ->one_each();
  command.add_option("--answer", o.answers, "Your answer to a question of the sheet (repeatable)")
      ->takes("QUESTION=ANSWER")
      ->one_each();
  command.add_flag("--accept-cautions", o.accept_cautions,
                   "You have read the cautions of the sheet and of what you order, and accept them");
  command.add_option("--job", o.job, "The job that it belongs to, as your bundles name it")->takes("NAME");
  command
      .add_option("--vehicle", o.vehicle, "The word for this vehicle that you share with the shop; not a VIN")
      ->takes("TEXT");
}

}  // namespace

void add_parcel_command(CommandLine& app, Console& console, const std::string& tool, int& status) {
  CommandLine* command = app.add_subcommand(
      "parcel", "Make one file of reads, logs, an order and your words, signed with your own key");
  auto o = std::make_shared<ParcelOptions>();
  command
      ->add_option("--customer", o->customer,
                   "Your customer file, with your key and the number of your last parcel")
      ->takes("FILE");
  command->add_option("--new-customer", o->new_customer, "Begin a customer file under this name")
      ->takes("FILE");
  add_contents(*command, *o);
  command->add_option("--sheet", o->sheet, "The shop's sheet: what it offers and asks (with --trust)")
      ->takes("FILE");
  command->add_option("--trust", o->trust, "The trust file of the shop that it is for")->takes("FILE");
  command->add_option("--root", o->root, "Fingerprint of the shop's root, as the shop read it to you")
      ->takes("FINGERPRINT");
  command
      ->add_option("--claimed-time", o->time, "Time to state instead of now (UTC, like 2026-01-31T12:00:00Z)")
      ->takes("TIME");
  command->add_option("-o,--output", o->output, "The parcel to write; nothing is replaced")
      ->takes("FILE")
      ->required();
  set_command(
      *command, console,
      {"calseal-check parcel --new-customer me.customer --read read.bin --words \"It pulls to the left.\" -o "
       "to-shop.parcel",
       "calseal-check parcel --customer me.customer --sheet shop.sheet --trust shop.trust --read "
       "engine.flash=read.bin --log drive.csv --order towing --answer fuel=e85 --accept-cautions -o "
       "to-shop.parcel"},
      [o, tool](Console& c) { return run_parcel(*o, tool, c); }, status);
}

}  // namespace calseal
