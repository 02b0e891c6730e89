#include "calseal/archive/audit.h"

#include <unistd.h>

#include <cstdio>
#include <memory>

#include "calseal/archive/mirror.h"
#include "calseal/base/file.h"
#include "calseal/base/interrupt.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/archive/archive_commands.h"
#include "calseal/cli/archive/audit_output.h"
#include "calseal/cli/archive/audit_part.h"
#include "calseal/cli/archive/audit_progress.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/trust/spoken_code.h"
#include "calseal/trust/succession.h"

namespace calseal {
namespace {

struct AuditOptions {
  std::vector<std::string> folders, successions;
  std::string trust, root, depth = "stored", part, mirror;
  bool resume = false, heal = false;
  std::uint64_t threads = 0;
  AuditOutput output;
};

constexpr int kInterrupted = 130;

class Auditing {
 public:
  Auditing(const AuditOptions& options, const Console& console)
      : options_(options), output_(options.output), console_(console) {}

  Result<int> run() {
    CALSEAL_CHECK(check_options());
    CALSEAL_ASSIGN(earlier_, load_earlier(output_));
    CALSEAL_CHECK(load_trust_chain());
    CALSEAL_ASSIGN(survey_, survey_archive(options_.folders));
    const InterruptionAsked interruption;
    AuditRequest request;
    request.survey = &survey_;
    request.depth = options_.depth == "proved" ? Depth::kProved : Depth::kStored;
    request.trust = trust_;
    request.trust_digest = trust_digest_;
    request.part = part_;
    request.threads = static_cast<unsigned>(options_.threads);
    request.earlier = earlier_.record ? &*earlier_.record : nullptr;
    if (!output_.record.empty()) request.journal = output_.record + ".unfinished";
    request.resume = options_.resume;
    Progress line(console_, "auditing");
    request.progress = audit_progress(line);
    request.stop = [&] { return interruption.asked(); };
    CALSEAL_ASSIGN(record_, run_audit(request));
    line.end();
    if (record_.whole && !output_.record.empty()) {
      CALSEAL_CHECK(write_file(output_.record, view_of(write_record(record_))));
      ::unlink(request.journal.c_str());
    }
    if (part_.of > 1) return end_part();
    Judgement judgement = judge_record(record_, request.earlier);
    if (!output_.since.empty()) compare_findings(judgement, earlier_.findings);
    CALSEAL_CHECK(look_at_mirror(judgement, request));
    CALSEAL_ASSIGN(const int status, give_out(judgement, output_, console_));
    if (record_.whole) return status;
    console_.note("stopped" +
                  std::string(request.journal.empty() ? "" : "; the same command with --resume goes on") +
                  "\n");
    return kInterrupted;
  }

 private:
  Status check_options() {
    const auto refuse = [](const std::string& place, const std::string& found, const std::string& expected) {
      return fail(usage_error(place, found, expected, "see calseal audit --help"));
    };
    if (options_.folders.empty()) return refuse("DIR", "no folder", "the folders of the archive");
    if (options_.trust.empty()) return refuse("--trust", "nothing", "the shop's newest trust file");
    CALSEAL_ASSIGN(part_, stated_part(options_.part));
    output_.record = path_of_part(output_.record, part_);
    if (part_.of > 1 && output_.record.empty())
      return refuse("--part", "no --record", "a record for this part, which merge joins with the others");
    if (part_.of > 1 && (!output_.reports.empty() || !options_.mirror.empty()))
      return refuse("--part", "--report or --mirror", "only the facts of a part: merge judges them");
    if (options_.resume && output_.record.empty())
      return refuse("--resume", "no --record", "the record to go on with");
    if (options_.heal && options_.mirror.empty())
      return refuse("--heal", "no --mirror", "where good copies are");
    std::vector<std::string> outputs = output_.reports;
    if (!output_.record.empty()) outputs.push_back(output_.record);
    return refuse_clashes(outputs, {options_.trust});
  }

  Status load_trust_chain() {
    CALSEAL_ASSIGN(Bytes bytes, read_file(options_.trust, kTrustFileSizeLimit));
    trust_digest_ = compute_sha256(bytes);
    std::vector<NamedBytes> successions;
    for (const std::string& path : options_.successions) {
      CALSEAL_ASSIGN(Bytes step, read_file(path, kSuccessionSizeLimit));
      successions.push_back({printable(path), std::move(step)});
    }
    CALSEAL_ASSIGN(
        chain_, parse_trust_chain({printable(options_.trust), std::move(bytes)}, successions, options_.root));
    trust_.push_back(&chain_.trust);
    for (auto step = chain_.steps.rbegin(); step != chain_.steps.rend(); ++step)
      trust_.push_back(&step->old_trust);
    if (options_.root.empty()) {
      console_.note("note: the root of " + printable(options_.trust) +
                    " was not compared with what the shop reads " +
                    "aloud (--root): " + spoken_code(Spoken::kKey, compute_key_id(chain_.trust.root)) + "\n");
    }
    return {};
  }

  int end_part() const {
    const std::string name = std::to_string(part_.number) + " of " + std::to_string(part_.of);
    console_.print("part " + name + ": " + grouped(record_.files.size()) + " of " +
                   grouped(record_.scope.files) + " files looked at" +
                   (record_.whole ? "" : ", then stopped") +
                   "; calseal audit merge judges all parts together\n");
    console_.print_json(json_object({{"calseal", json("audit-part/1")},
                                     {"part", json(part_.number)},
                                     {"of", json(part_.of)},
                                     {"files", json(record_.scope.files)},
                                     {"looked_at", json(record_.files.size())},
                                     {"whole", json(record_.whole)},
                                     {"record", json(printable(output_.record, kShownPathLimit))}}));
    return record_.whole ? 0 : kInterrupted;
  }

  Status look_at_mirror(Judgement& judgement, const AuditRequest& audit) {
    if (options_.mirror.empty() || !record_.whole || judgement.clean()) return {};
    CALSEAL_ASSIGN(const Survey mirror, survey_archive({options_.mirror}));
    MirrorRequest request;
    request.archive = &survey_;
    request.mirror = &mirror;
    request.record = &record_;
    request.earlier = audit.earlier;
    request.trust = trust_;
    request.heal = options_.heal;
    request.stop = audit.stop;
    const Healed healed = heal_archive(request, judgement);
    for (const Error& error : healed.failed) console_.note(error_text(error));
    return {};
  }

  const AuditOptions& options_;
  AuditOutput output_;
  const Console& console_;
  Part part_;
  EarlierAudit earlier_;
  TrustChain chain_;
  std::vector<const TrustFile*> trust_;
  Sha256 trust_digest_;
  Survey survey_;
  AuditRecord record_;
};

struct MergeOptions {
  std::vector<std::string> records;
  AuditOutput output;
};

Result<int> run_merge(const MergeOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const EarlierAudit earlier, load_earlier(options.output));
  std::vector<std::string> outputs = options.output.reports;
  if (!options.output.record.empty()) outputs.push_back(options.output.record);
  CALSEAL_CHECK(refuse_clashes(outputs, options.records));
  std::vector<AuditRecord> parts;
  for (const std::string& path : options.records) {
    CALSEAL_ASSIGN(AuditRecord part, load_record(path));
    parts.push_back(std::move(part));
  }
  CALSEAL_ASSIGN(const AuditRecord record, join_records(std::move(parts)));
  if (!options.output.record.empty())
    CALSEAL_CHECK(write_file(options.output.record, view_of(write_record(record))));
  Judgement judgement = judge_record(record, earlier.record ? &*earlier.record : nullptr);
  if (!options.output.since.empty()) compare_findings(judgement, earlier.findings);
  return give_out(judgement, options.output, console);
}

void add_merge_command(CommandLine& audit, Console& console, int& status) {
  CommandLine* command =
      audit.add_subcommand("merge", "Join the records of all parts into the report of one run");
  auto o = std::make_shared<MergeOptions>();
  command->add_option("RECORD", o->records, "The record of each part")->required();
  add_audit_output(*command, o->output);
  set_command(
      *command, console, {"calseal audit merge part-*.record --report audit.xml --record 2026-06.record"},
      [o](Console& c) { return run_merge(*o, c); }, status);
}

JsonValue findings_list_json() {
  return json_object({{"calseal", json("audit-findings/1")},
                      {"findings", json_array(all_findings(), [](const FindingInfo& row) {
                         return json_object({{"code", json(row.name)},
                                             {"severity", json(severity_name(row.severity))},
                                             {"meaning", json(row.meaning)},
                                             {"next", json(row.next)}});
                       })}});
}

void add_findings_command(CommandLine& audit, Console& console, int& status) {
  CommandLine* command =
      audit.add_subcommand("findings", "Everything that an audit can find, and what to do");
  auto markdown = std::make_shared<bool>(false);
  command->add_flag("--markdown", *markdown, "As the table of docs/audit.md");
  set_command(
      *command, console, {"calseal audit findings", "calseal audit findings --json"},
      [markdown](Console& c) -> Result<int> {
        c.print(*markdown ? findings_markdown() : findings_text(page_for(c)));
        c.print_json(findings_list_json());
        return 0;
      },
      status);
}

}  // namespace

void add_audit_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command = app.add_subcommand(
      "audit", "Read a whole archive again: what is damaged, missing, extra, altered or forged");
  auto o = std::make_shared<AuditOptions>();
  command->add_option("DIR", o->folders, "Folders of the archive, of any shape; the ledger's too");
  command->add_option("--trust", o->trust, "The shop's newest trust file");
  command->add_option("--root", o->root, "The root's fingerprint as the shop reads it aloud, or its key id");
  command
      ->add_option("--succession", o->successions,
                   "A succession that led to this root, the oldest first (repeatable)")
      ->one_each();
  command
      ->add_option(
          "--depth", o->depth,
          "stored: containers, signatures, digests; proved: images rebuilt, confinement and checksums too")
      ->one_of({"stored", "proved"});
  add_audit_output(*command, o->output);
  command->add_flag("--resume", o->resume, "Go on with a run that was stopped, by its --record");
  command->add_option("--mirror", o->mirror, "A second tree in which good copies are looked for");
  command->add_flag("--heal", o->heal,
                    "Put good copies from --mirror in place; what was damaged is kept in .calseal-aside");
  command
      ->add_option("--part", o->part, "Only part K of N (K/N), or auto: as the engine that started this says")
      ->shown_as("K/N");
  command->add_option("--threads", o->threads, "Threads; one for each processor else")->in_range(1, 1024);
  set_command(
      *command, console,
      {"calseal audit archive shop-ledger --trust shop.trust --depth proved --record 2026-06.record",
       "calseal audit archive --trust shop.trust --since 2026-05.record --report audit.xml",
       "calseal audit archive --trust shop.trust --mirror /backup/archive --heal",
       "parallel calseal audit archive --trust shop.trust --part {}/8 --record p{}.record ::: 1 2 3 4 5 6 7 "
       "8"},
      [o, command, &status](Console& c) -> Result<int> {
        if (command->has_run_subcommand()) return status;  // that one has run
        return Auditing(*o, c).run();
      },
      status);
  add_merge_command(*command, console, status);
  add_findings_command(*command, console, status);
}

}  // namespace calseal
