#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/ledger/ledger_commands.h"
#include "calseal/cli/shop/shop_defaults.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/ledger/head.h"
#include "calseal/report/ledger/ledger_report.h"

namespace calseal {
namespace {

struct ProveOptions {
  std::string folder, proof, bundle, revision, trust, output;
  std::vector<std::string> heads;
};

Result<Sha256> revision_of(const ProveOptions& options, const TrustFile& trust) {
  if (!options.revision.empty()) return stated_digest(options.revision, "--revision");
  CALSEAL_ASSIGN(const LoadedRevision revision, load_revision(options.bundle, trust));
  return revision.digest;
}

// Two heads and no revision: that the later one continues the earlier one.
Result<bool> about_heads(const ProveOptions& options) {
  const bool about_one = !options.bundle.empty() || !options.revision.empty();
  if (about_one && !options.bundle.empty() && !options.revision.empty())
    return fail(usage_error("--revision", "a bundle beside it", "one of the two", "leave one out"));
  if (!about_one && options.heads.size() != 2)
    return fail(usage_error("--head", std::to_string(options.heads.size()) + " heads and no revision",
                            "two heads, the earlier one first; or a revision",
                            "state --head twice, --bundle or --revision"));
  if (about_one && options.heads.size() > 1)
    return fail(
        usage_error("--head", "several heads for one revision", "at most one", "leave the others out"));
  return !about_one;
}

Result<int> run_prove(const ProveOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const bool consistency, about_heads(options));
  std::vector<std::string> inputs = options.heads;
  inputs.insert(inputs.end(), {options.trust, options.bundle});
  CALSEAL_CHECK(refuse_clashes({options.output}, inputs));
  CALSEAL_ASSIGN(const LoadedTrust trust, load_trust(options.trust));
  CALSEAL_ASSIGN(std::vector<TreeHead> heads, load_heads(options.heads, trust.trust));
  std::string file, text, kind;
  const Progress progress(console, "reading the ledger");
  if (consistency) {
    CALSEAL_ASSIGN(const ConsistencyProof proof, prove_consistency(options.folder, heads[0], heads[1]));
    file = write_consistency(proof);
    kind = "consistency";
    text = "proved     the head of " + tree_head_text(heads[1]) + "\n           continues that of " +
           tree_head_text(heads[0]) + "\n";
    heads = {heads[1]};
  } else {
    CALSEAL_ASSIGN(const Sha256 revision, revision_of(options, trust.trust));
    CALSEAL_ASSIGN(
        const InclusionProof proof,
        prove_inclusion(options.folder, revision, heads.empty() ? std::nullopt : std::optional(heads[0])));
    file = write_inclusion(proof);
    kind = "inclusion";
    heads = {proof.head};
    text = "proved     revision " + digest_text(revision) + "\n           is entry " + grouped(proof.index) +
           " under the head of " + tree_head_text(proof.head) + "\n";
  }
  CALSEAL_CHECK(write_file(options.output, view_of(file)));
  console.print(text + "written    " + printable(options.output) + "\n");
  console.print_json(json_object({{"calseal", json("ledger-prove/1")},
                                  {"output", json(printable(options.output, kShownPathLimit))},
                                  {"kind", json(kind)},
                                  {"head", tree_head_json(heads[0])}}));
  return 0;
}

Result<int> run_check(const ProveOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const bool consistency, about_heads(options));
  if (options.heads.empty())
    return fail(usage_error("--head", "no head", "the head that the proof leads to", "state it"));
  CALSEAL_ASSIGN(const LoadedTrust trust, load_trust(options.trust));
  CALSEAL_ASSIGN(const std::vector<TreeHead> heads, load_heads(options.heads, trust.trust));
  const std::string name = printable(options.proof);
  CALSEAL_ASSIGN(const Bytes bytes, read_file(options.proof, kInclusionSizeLimit));
  std::string text;
  if (consistency) {
    CALSEAL_ASSIGN(const ConsistencyProof proof, parse_consistency(bytes, name));
    CALSEAL_CHECK(check_consistency_proof(proof, heads[0], heads[1], name));
    text = "the later head continues the earlier one: nothing was removed, moved or edited in between\n";
  } else {
    CALSEAL_ASSIGN(const InclusionProof proof, parse_inclusion(bytes, name));
    CALSEAL_ASSIGN(const Sha256 revision, revision_of(options, trust.trust));
    CALSEAL_CHECK(check_inclusion(proof, revision, heads, name));
    text = "the ledger held this revision when the head was made\n";
  }
  console.print("holds      " + text);
  console.print_json(json_object({{"calseal", json("ledger-check-proof/1")},
                                  {"kind", json(consistency ? "consistency" : "inclusion")},
                                  {"holds", json(true)}}));
  return 0;
}

void add_subject_options(CommandLine& command, ProveOptions& options) {
  command.add_option("--bundle", options.bundle, "The revision's bundle")->takes("FILE");
  command.add_option("--revision", options.revision, "Its identity instead, 64 digits")->takes("DIGEST");
  command.add_option("--trust", options.trust, "The shop's trust file")->takes("FILE")->required();
}

}  // namespace

void add_ledger_prove_command(CommandLine& ledger, Console& console, int& status) {
  CommandLine* command = ledger.add_subcommand(
      "prove", "Write the proof that a revision is in the ledger, or that a head continues another");
  auto o = std::make_shared<ProveOptions>();
  command->add_option("LEDGER", o->folder, "The ledger's folder")->takes("FOLDER")->required();
  command
      ->add_option("--head", o->heads,
                   "Under this head (default: of all entries); two: from the earlier to the later")
      ->takes("FILE");
  add_subject_options(*command, *o);
  command->add_option("-o,--output", o->output, "The proof to write")->takes("FILE")->required();
  add_shop_option(*command, {kShopLedger, kShopTrust});
  set_command(
      *command, console,
      {"calseal ledger prove shop-ledger --bundle r1.calseal --head pinned.head --trust shop.trust -o "
       "r1.inclusion",
       "calseal ledger prove shop-ledger --head r1.head --head r7.head --trust shop.trust -o "
       "r1-r7.consistency"},
      [o](Console& c) { return run_prove(*o, c); }, status);
}

void add_ledger_check_proof_command(CommandLine& ledger, Console& console, int& status) {
  CommandLine* command = ledger.add_subcommand("check-proof", "Check such a proof without the ledger");
  auto o = std::make_shared<ProveOptions>();
  command->add_option("PROOF", o->proof, "The proof")->takes("FILE")->required();
  command->add_option("--head", o->heads, "The head that it leads to; two: from the earlier to the later")
      ->takes("FILE");
  add_subject_options(*command, *o);
  set_command(
      *command, console,
      {"calseal ledger check-proof r1-r7.consistency --head r1.head --head r7.head --trust shop.trust"},
      [o](Console& c) { return run_check(*o, c); }, status);
}

}  // namespace calseal
