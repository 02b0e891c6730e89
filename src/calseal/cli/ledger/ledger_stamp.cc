#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/ledger/ledger_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/ledger/head.h"
#include "calseal/ledger/layout.h"
#include "calseal/ledger/token.h"
#include "calseal/trust/tree_head.h"

namespace calseal {
namespace {

struct StampOptions {
  std::string folder, request, token;
  std::vector<std::string> authorities;
  std::uint64_t size = 0;
};

Result<int> run(const StampOptions& options, const Console& console) {
  if (options.request.empty() == options.token.empty())
    return fail(usage_error("--request", "neither or both",
                            "--request FILE, or --token FILE with --authority",
                            "first write a request, then keep the answer"));
  if (!options.token.empty() && options.authorities.empty())
    return fail(usage_error("--token", "a token without an authority", "--authority beside it",
                            "give the certificates of the authority that you believe"));
  std::string time;
  std::uint64_t size = options.size;
  if (size == 0) {
    CALSEAL_ASSIGN(const auto newest, newest_head(options.folder));
    if (!newest) {
      return fail({Reason::kNotInLedger, printable(options.folder), "heads", "no signed head", "at least one",
                   "make one with calseal ledger head"});
    }
    CALSEAL_ASSIGN(const SignedHead head, read_tree_head(newest->bytes, newest->name));
    size = head.tree.size;
  }
  if (!options.request.empty()) {
    CALSEAL_ASSIGN(const Bytes head, read_file(options.folder + "/" + head_file(size), kTreeHeadSizeLimit));
    CALSEAL_ASSIGN(const Bytes request, make_token_request(head));
    CALSEAL_CHECK(write_file(options.request, request));
    console.print("written    " + printable(options.request) + ": a request over the head of " +
                  grouped(size) +
                  " entries\nSend it to the authority (application/timestamp-query), and give its answer to "
                  "--token.\n");
  } else {
    CALSEAL_ASSIGN(Bytes bytes, read_file(options.token, kTokenSizeLimit));
    CALSEAL_ASSIGN(const std::vector<NamedBytes> authorities, load_authorities_of(options.authorities));
    CALSEAL_ASSIGN(
        time, attach_token(options.folder, size, {printable(options.token), std::move(bytes)}, authorities));
    console.print("kept       a token over the head of " + grouped(size) + " entries: it existed at " + time +
                  ", by the authority's word\n");
  }
  console.print_json(json_object({{"calseal", json("ledger-stamp/1")},
                                  {"ledger", json(printable(options.folder, kShownPathLimit))},
                                  {"size", json(size)},
                                  {"request", json(printable(options.request, kShownPathLimit))},
                                  {"token_time", json(time)}}));
  return 0;
}

}  // namespace

void add_ledger_stamp_command(CommandLine& ledger, Console& console, int& status) {
  CommandLine* command = ledger.add_subcommand(
      "stamp", "Have a head stamped by a time-stamp authority (RFC 3161); nothing is sent by calseal");
  auto o = std::make_shared<StampOptions>();
  command->add_option("LEDGER", o->folder, "The ledger's folder")->takes("FOLDER")->required();
  command->add_option("--request", o->request, "Write the request here")->takes("FILE");
  command->add_option("--token", o->token, "The authority's answer; kept once it is verified")->takes("FILE");
  command
      ->add_option("--authority", o->authorities,
                   "PEM certificates of the authority that you believe (repeatable)")
      ->takes("FILE");
  command->add_option("--size", o->size, "Entries of the head (default: the newest head)");
  set_command(
      *command, console,
      {"calseal ledger stamp shop-ledger --request head.tsq",
       "calseal ledger stamp shop-ledger --token head.tsr --authority tsa.pem"},
      [o](Console& c) { return run(*o, c); }, status);
}

}  // namespace calseal
