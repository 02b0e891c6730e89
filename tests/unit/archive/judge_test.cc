// What is made of facts: each finding of the closed list reached from an archive in which one thing is wrong.
#include "calseal/archive/judge.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <functional>
#include <set>

#include "facts_sample.h"
#include "support/random.h"

namespace calseal {
namespace {

constexpr const char* kFirst = "oak/base-1/r0.calseal";
constexpr const char* kSecond = "oak/base-1/r1.calseal";

std::multiset<std::string> named(const Judgement& judgement) {
  std::multiset<std::string> names;
  for (const Finding& finding : judgement.findings)
    names.insert(std::string(info(finding.code).name) + " " + finding.path);
  return names;
}

Error fault_for(Reason reason) { return {reason, "", "byte 7", "something else", "what was sealed", "look"}; }

// A bundle of which nothing is believed but what its beginning says.
void break_bundle(FileFacts& facts, Reason reason) {
  const RevisionClaim claim = *facts.revision;
  facts.revision.reset();
  facts.proof = Proof::kNotAsked;
  facts.digest = digest_of("damaged");
  facts.hint = BundleHint{claim.job, claim.base, claim.revision, claim.sequence};
  facts.fault = fault_for(reason);
}

struct Case {
  std::string name;
  std::function<void(FactsSample& now, FactsSample& before)> change;
  std::multiset<std::string> expected;  // "code path"
  bool compared = false;                // with an earlier audit
};

Case broken(const std::string& code, Reason reason) {
  return {code,
          [=](FactsSample& now, FactsSample&) { break_bundle(now.at(kSecond), reason); },
          {code + " " + kSecond}};
}

Case unproved(const std::string& code, Reason reason) {
  const auto change = [=](FactsSample& now, FactsSample&) {
    now.at(kSecond).proof = Proof::kFailed;
    now.at(kSecond).fault = fault_for(reason);
  };
  return {code, change, {code + " " + kSecond}};
}

std::vector<Case> cases_of_files() {
  return {
      {"a file on a bad sector",
       [](FactsSample& now, FactsSample&) {
         now.at("notes.txt").digest.reset();
         now.at("notes.txt").fault = fault_for(Reason::kFileUnreadable);
       },
       {"file-unreadable notes.txt"}},
      {"a locked folder",
       [](FactsSample& now, FactsSample&) { now.scope.unreadable = {"locked"}; },
       {"folder-unreadable locked"}},
      {"a locked folder, and why",
       [](FactsSample& now, FactsSample&) {
         now.scope.unreadable = {"locked"};
         now.scope.causes = {"Permission denied"};
       },
       {"folder-unreadable locked"}},
      {"a folder of several without a file",
       [](FactsSample& now, FactsSample&) {
         now.scope.folders = {"oak", "away"};
       },
       {"archive-empty away"}},
      {"a folder of several that could not be read",
       [](FactsSample& now, FactsSample&) {
         now.scope.folders = {"oak", "away"};
         now.scope.unreadable = {"away"};
       },
       {"folder-unreadable away"}},
      {"an archive without a file",
       [](FactsSample& now, FactsSample&) { now.files.clear(); },
       {"archive-empty .", "no-ledger "}},
      {"not half as many files as before",
       [](FactsSample&, FactsSample& before) {
         for (int i = 0; i < 40; ++i) before.add("state-" + std::to_string(i), FileKind::kCheckerState);
       },
       {"files-fewer "},
       true},
      {"a link",
       [](FactsSample& now, FactsSample&) { now.scope.links = {"away"}; },
       {"link-not-followed away"}},
      {"a pipe", [](FactsSample& now, FactsSample&) { now.scope.others = {"pipe"}; }, {"not-a-file pipe"}},
      {"a bent trust file",
       [](FactsSample& now, FactsSample&) {
         now.at("shop.trust").statement.reset();
         now.at("shop.trust").fault = fault_for(Reason::kJsonValue);
       },
       {"file-damaged shop.trust"}},
      {"another shop's trust file",
       [](FactsSample& now, FactsSample&) { now.at("shop.trust").statement->names = {digest_of("other")}; },
       {"trust-foreign shop.trust"}},
      {"a head without a beginning",
       [](FactsSample& now, FactsSample&) { now.add("sent.head", FileKind::kUnknown); },
       {"file-damaged sent.head"}},
      {"an empty list",
       [](FactsSample& now, FactsSample&) { now.add("old.withdrawals", FileKind::kEmpty); },
       {"file-damaged old.withdrawals"}},
      {"a note whose name ends otherwise",
       [](FactsSample& now, FactsSample&) { now.add("what.ahead", FileKind::kUnknown); },
       {}},
      {"a bundle without a beginning",
       [](FactsSample& now, FactsSample&) { now.add("loose.calseal", FileKind::kUnknown); },
       {"bundle-damaged loose.calseal"}},
      {"a role that never signed",
       [](FactsSample& now, FactsSample&) { now.at(kSecond).revision->incomplete = true; },
       {std::string("roles-missing ") + kSecond}},
      {"no revision 0 to prove against",
       [](FactsSample& now, FactsSample&) { now.at(kSecond).proof = Proof::kNoBase; },
       {std::string("base-missing ") + kSecond}},
  };
}

std::vector<Case> cases_of_bundles() {
  return {broken("bundle-damaged", Reason::kContentDigest),
          broken("bundle-damaged", Reason::kNotABundle),
          broken("signature-bad", Reason::kSignatureBad),
          broken("signature-missing", Reason::kSignatureMissing),
          broken("signer-unknown", Reason::kSignerUnknown),
          broken("key-not-valid", Reason::kKeyValidity),
          broken("key-compromised", Reason::kKeyCompromised),
          broken("key-compromised", Reason::kInclusionInvalid),
          broken("key-out-of-scope", Reason::kKeyScope),
          broken("roles-missing", Reason::kRolesMissing),
          broken("format-unknown", Reason::kFormatUnknown),
          broken("file-unreadable", Reason::kFileUnreadable),
          unproved("bundle-damaged", Reason::kContentDigest),
          unproved("not-confined", Reason::kChangeSigned),
          unproved("not-confined", Reason::kChangePatch),
          unproved("not-confined", Reason::kChangeLocked),
          unproved("not-confined", Reason::kChangeVolatile),
          unproved("checksum-wrong", Reason::kChecksumFails),
          unproved("checksum-wrong", Reason::kDerivedWrong),
          unproved("result-wrong", Reason::kResultMismatch),
          unproved("claim-wrong", Reason::kJsonValue)};
}

// A partner in the set "set", of the sequence that is given.
void make_set(FactsSample& now) {
  RevisionClaim& claim = *now.at(kSecond).revision;
  claim.set = digest_of("set");
  claim.members = {{"engine", 1, 2, claim.map, claim.pinned}, {"gearbox", 1, 5, claim.map, claim.pinned}};
}

std::vector<Case> cases_of_chains() {
  return {
      {"a parent that nobody has",
       [](FactsSample& now, FactsSample&) { now.at(kSecond).revision->parent = digest_of("nowhere"); },
       {std::string("parent-missing ") + kSecond}},
      {"a parent that came later",
       [](FactsSample& now, FactsSample&) { now.at(kFirst).revision->parent = digest_of(kSecond); },
       {std::string("parent-wrong ") + kFirst}},
      {"a parent of another controller",
       [](FactsSample& now, FactsSample&) {
         now.bundle("loose/r0.calseal", "gearbox", 0, 1);
         now.at(kSecond).revision->parent = digest_of("loose/r0.calseal");
       },
       {std::string("parent-wrong ") + kSecond}},
      {"two with one number",
       [](FactsSample& now, FactsSample&) {
         now.bundle("loose/r1.calseal", "engine", 1, 2);
         now.seals().pop_back();
       },
       {std::string("forked ") + kSecond, "forked loose/r1.calseal", "altered loose/r1.calseal"}},
      {"one of a set alone",
       [](FactsSample& now, FactsSample&) { make_set(now); },
       {std::string("partner-missing ") + kSecond}},
      {"a partner of another set",
       [](FactsSample& now, FactsSample&) {
         make_set(now);
         now.bundle("loose/r4.calseal", "gearbox", 4, 5).revision->set = digest_of("another set");
       },
       {std::string("partner-wrong ") + kSecond}},
      {"a set with both",
       [](FactsSample& now, FactsSample&) {
         make_set(now);
         now.bundle("loose/r4.calseal", "gearbox", 4, 5).revision->set = digest_of("set");
       },
       {}},
      {"a copy of a bundle somewhere else",
       [](FactsSample& now, FactsSample&) {
         now.files["loose/copy"] = now.at(kSecond);
         now.files["loose/copy"].path = "loose/copy";
       },
       {}},
  };
}

// Whatever shows them, these are about the entries.
bool is_history(LedgerFault fault) {
  return fault == LedgerFault::kHeadRewritten || fault == LedgerFault::kHeadAhead ||
         fault == LedgerFault::kEntriesMissing || fault == LedgerFault::kTipDiffers;
}

// A head of some ledger that was signed well.
void add_head(FactsSample& now, const std::string& path, const std::string& ledger, std::uint64_t entries) {
  now.add(path, FileKind::kLedgerHead).statement =
      StatementClaim{entries, "2026-01-02T03:04:05Z", "", "", {digest_of(ledger)}};
}

void lose_ledger(FactsSample& now) {
  for (const char* name : {"entries.jsonl", "details.jsonl", "tip.json"})
    now.files.erase(std::string("ledger/") + name);
}

LedgerFinding in_entries(LedgerFault fault, std::optional<std::uint64_t> index,
                         std::optional<std::uint64_t> last = std::nullopt) {
  return {fault, "ledger/entries.jsonl", index, "what is there", "what to do", last};
}

// The causes of what one ledger is found with, and heads of ledgers that are not here.
std::vector<Case> cases_of_ledger_causes() {
  return {
      {"heads of the ledger that is here",
       [](FactsSample& now, FactsSample&) { add_head(now, "oak/sent.head", "ledger", 2); },
       {}},
      {"no ledger, and two heads of it",
       [](FactsSample& now, FactsSample&) {
         lose_ledger(now);
         add_head(now, "oak/sent.head", "ledger", 2);
         add_head(now, "handed/over.head", "ledger", 1);
       },
       {"no-ledger ", "ledger-gone oak/sent.head"}},
      {"a new ledger in the place of the old one, with the old one's heads",
       [](FactsSample& now, FactsSample&) {
         now.at("ledger/entries.jsonl").ledger->id = digest_of("new ledger");
         add_head(now, "oak/sent.head", "ledger", 2);
         add_head(now, "ledger/heads/000000000001.head", "ledger", 1);
         now.at("ledger/entries.jsonl").ledger->findings = {{LedgerFault::kHeadOfAnother,
                                                             "ledger/heads/000000000001.head", std::nullopt,
                                                             "", "", std::nullopt}};
       },
       {"ledger-gone oak/sent.head"}},
      {"heads of two ledgers that are not here",
       [](FactsSample& now, FactsSample&) {
         add_head(now, "oak/sent.head", "second", 2);
         add_head(now, "oak/other.head", "third", 2);
       },
       {"ledger-gone oak/sent.head", "ledger-gone oak/other.head"}},
      {"a head that nobody has to believe speaks for nothing",
       [](FactsSample& now, FactsSample&) {
         add_head(now, "oak/sent.head", "second", 2);
         now.at("oak/sent.head").fault = fault_for(Reason::kSignatureBad);
       },
       {"signature-bad oak/sent.head"}},
      {"a ledger that cannot be read, and heads of it",
       [](FactsSample& now, FactsSample&) {
         now.at("ledger/entries.jsonl").ledger.reset();
         now.at("ledger/entries.jsonl").fault = fault_for(Reason::kJsonValue);
         add_head(now, "oak/sent.head", "ledger", 2);
       },
       {"ledger-unreadable ledger/entries.jsonl", "no-ledger "}},
      {"an entry that was taken out: one cause, and no bundle is extra",
       [](FactsSample& now, FactsSample&) {
         now.seals().clear();
         now.at("ledger/entries.jsonl").ledger->findings = {
             in_entries(LedgerFault::kDetailDiffers, 1, 191), in_entries(LedgerFault::kDetailStray, {}),
             in_entries(LedgerFault::kEntriesMissing, {}), in_entries(LedgerFault::kHeadAhead, {}),
             in_entries(LedgerFault::kHeadRewritten, {})};
       },
       {"ledger-head-rewritten ledger/entries.jsonl"}},
      {"details of entries in a row",
       [](FactsSample& now, FactsSample&) {
         now.at("ledger/entries.jsonl").ledger->findings = {in_entries(LedgerFault::kDetailMissing, 1, 9)};
       },
       {"ledger-detail-missing ledger/entries.jsonl"}},
      {"a rewritten ledger hides no entry, so an extra one shows",
       [](FactsSample& now, FactsSample&) {
         now.seals().pop_back();
         now.at("ledger/entries.jsonl").ledger->findings = {in_entries(LedgerFault::kHeadRewritten, {})};
       },
       {"ledger-head-rewritten ledger/entries.jsonl", std::string("extra ") + kSecond}},
  };
}

std::vector<Case> cases_of_ledgers() {
  std::vector<Case> cases{
      {"no ledger",
       [](FactsSample& now, FactsSample&) {
         for (const char* name : {"entries.jsonl", "details.jsonl", "tip.json"})
           now.files.erase(std::string("ledger/") + name);
       },
       {"no-ledger "}},
      {"no ledger, and a revision that the notes tell of",
       [](FactsSample& now, FactsSample&) {
         for (const char* name : {"entries.jsonl", "details.jsonl", "tip.json"})
           now.files.erase(std::string("ledger/") + name);
         now.files.erase(kSecond);
       },
       {"no-ledger ", std::string("missing ") + kSecond}},
      {"a revision that is gone",
       [](FactsSample& now, FactsSample&) { now.files.erase(kSecond); },
       {std::string("missing ") + kSecond}},
      {"a revision that a job list names, and nobody has",
       [](FactsSample& now, FactsSample&) {
         now.add("oak.list", FileKind::kJobList).statement =
             StatementClaim{1, "2026-01-02T03:04:05Z", "oak-17", "engine", {digest_of("nowhere")}};
       },
       {"missing "}},
      {"a revision that was never entered",
       [](FactsSample& now, FactsSample&) { now.seals().pop_back(); },
       {std::string("extra ") + kSecond}},
      {"another revision with the number of one",
       [](FactsSample& now, FactsSample&) { now.seals().back().identity = digest_of("the right one"); },
       {std::string("altered ") + kSecond}},
      {"entries that were emptied",
       [](FactsSample& now, FactsSample&) { now.at("ledger/entries.jsonl").ledger->erased = 2; },
       {"erased-on-request ledger/entries.jsonl"}},
      {"entries that cannot be read",
       [](FactsSample& now, FactsSample&) {
         now.at("ledger/entries.jsonl").ledger.reset();
         now.at("ledger/entries.jsonl").fault = fault_for(Reason::kJsonValue);
       },
       {"ledger-unreadable ledger/entries.jsonl", "no-ledger "}},
      {"details and tip without entries",
       [](FactsSample& now, FactsSample&) { now.files.erase("ledger/entries.jsonl"); },
       {"ledger-unreadable ledger/entries.jsonl", "no-ledger "}},
  };
  for (std::size_t i = 0; i <= static_cast<std::size_t>(LedgerFault::kEnteredLate); ++i) {
    const auto fault = static_cast<LedgerFault>(i);
    const std::string name = "ledger-" + std::string(ledger_fault_name(fault));
    cases.push_back({name,
                     [fault](FactsSample& now, FactsSample&) {
                       now.at("ledger/entries.jsonl").ledger->findings = {
                           {fault, "ledger/tip.json", 1, "what is there", "what to do", std::nullopt}};
                     },
                     {name + (is_history(fault) ? " ledger/entries.jsonl" : " ledger/tip.json")}});
  }
  return cases;
}

// Makes cases of what `prepare` makes of the sample.
auto cases_after(void (*prepare)(FactsSample&)) {
  return [prepare](std::string name, std::function<void(FactsSample&)> change,
                   std::multiset<std::string> expected) {
    return Case{std::move(name),
                [prepare, change = std::move(change)](FactsSample& now, FactsSample&) {
                  prepare(now);
                  change(now);
                },
                std::move(expected)};
  };
}

// The same job as a vehicle's: the controller's folder in that of the job, and a hand-over of both bundles.
void make_vehicle(FactsSample& now) {
  std::map<std::string, FileFacts> moved;
  for (auto& [path, facts] : now.files) {
    if (path.starts_with("oak/")) facts.path = "v/engine/" + path.substr(4);
    moved[facts.path] = facts;
  }
  now.files = std::move(moved);
  JobClaim job;
  job.job = "oak-17";
  now.add("v/vehicle.json", FileKind::kVehicleFacts).job = job;
  for (const char* name : {"r0", "r1"}) {
    const std::string path = std::string("v/handover-1/engine-") + name + ".calseal";
    now.files[path] = now.at(std::string("v/engine/base-1/") + name + ".calseal");
    now.files[path].path = path;
  }
}

// The parcel that the vehicle's job took in, as notes and ledger name it.
constexpr const char* kFirstParcel = "v/parcels/1.parcel";
void take_parcel(FactsSample& now) {
  make_vehicle(now);
  now.add(kFirstParcel, FileKind::kParcel);
  now.at("v/engine/events.jsonl").job->parcels = {{"parcels/1.parcel", digest_of(kFirstParcel)}};
  now.at("ledger/entries.jsonl").ledger->parcels = {{7, digest_of(kFirstParcel), "oak-17"}};
}

void forget_notes(FactsSample& now) { now.at("v/engine/events.jsonl").job->parcels.clear(); }
void forget_entries(FactsSample& now) { now.at("ledger/entries.jsonl").ledger->parcels.clear(); }

std::vector<Case> cases_of_parcels() {
  const auto changed = cases_after(take_parcel);
  const std::string at = kFirstParcel;
  return {
      changed("a parcel as notes and ledger name it", [](FactsSample&) {}, {}),
      changed("a parcel that the ledger alone names", forget_notes, {}),
      changed("a parcel that notes alone name", forget_entries, {}),
      changed("a parcel that nobody names",
              [](FactsSample& now) {
                forget_notes(now);
                forget_entries(now);
              },
              {"parcel-unknown " + at}),
      changed("a parcel elsewhere that nobody names",
              [](FactsSample& now) { now.add("inbox/new.parcel", FileKind::kParcel); }, {}),
      changed("no parcel", [](FactsSample& now) { now.files.erase(kFirstParcel); }, {"parcel-missing " + at}),
      changed("no parcel and no note",
              [](FactsSample& now) {
                forget_notes(now);
                now.files.erase(kFirstParcel);
              },
              {"parcel-missing "}),
      changed("a parcel that was moved",
              [](FactsSample& now) {
                now.add("v/old/1.parcel", FileKind::kParcel).digest = digest_of(kFirstParcel);
                now.files.erase(kFirstParcel);
              },
              {}),
      changed("another parcel in its place",
              [](FactsSample& now) { now.at(kFirstParcel).digest = digest_of("another"); },
              {"file-changed " + at}),
      changed("a damaged parcel",
              [](FactsSample& now) {
                now.at(kFirstParcel).digest = digest_of("damaged");
                now.at(kFirstParcel).fault =
                    Error{Reason::kStoredDigest, "", "entry 1", "this", "that", "ask"};
              },
              {"file-damaged " + at}),
      changed("a controller's folder without that of its vehicle",
              [](FactsSample& now) {
                now.files.erase("v/vehicle.json");
                now.files.erase(kFirstParcel);
                forget_entries(now);
              },
              {"job-file-missing v/vehicle.json"}),
  };
}

std::vector<Case> cases_of_vehicles() {
  const auto changed = cases_after(make_vehicle);
  return {
      changed("a hand-over with copies of bundles", [](FactsSample&) {}, {}),
      changed("a hand-over with another revision under a name",
              [](FactsSample& now) {
                now.at("v/handover-1/engine-r1.calseal").revision =
                    now.at("v/handover-1/engine-r0.calseal").revision;
              },
              {"handover-altered v/handover-1/engine-r1.calseal"}),
      changed("a damaged bundle in a hand-over",
              [](FactsSample& now) {
                break_bundle(now.at("v/handover-1/engine-r1.calseal"), Reason::kContentDigest);
              },
              {"bundle-damaged v/handover-1/engine-r1.calseal"}),
      changed("handed over, and not in the controller's folder",
              [](FactsSample& now) { now.files.erase("v/engine/base-1/r1.calseal"); },
              {"job-file-missing v/engine/base-1/r1.calseal"}),
      changed("no vehicle.json", [](FactsSample& now) { now.files.erase("v/vehicle.json"); },
              {"job-file-missing v/vehicle.json"}),
      changed("zeros for vehicle.json in a folder",
              [](FactsSample& now) { now.add("v/vehicle.json", FileKind::kUnknown); },
              {"file-damaged v/vehicle.json"}),
      changed("another job's vehicle.json",
              [](FactsSample& now) { now.at("v/vehicle.json").job->job = "elm-4"; },
              {"job-altered v/vehicle.json"}),
  };
}

std::vector<Case> cases_of_job_folders() {
  return {
      {"a bundle under another's name",
       [](FactsSample& now, FactsSample&) {
         now.files["oak/base-1/r7.calseal"] = now.at(kSecond);
         now.files["oak/base-1/r7.calseal"].path = "oak/base-1/r7.calseal";
       },
       {"misplaced oak/base-1/r7.calseal"}},
      {"two bundles in each other's place",
       [](FactsSample& now, FactsSample&) {
         std::swap(now.at(kFirst), now.at(kSecond));
         std::swap(now.at(kFirst).path, now.at(kSecond).path);
       },
       {std::string("misplaced ") + kFirst, std::string("misplaced ") + kSecond}},
      {"another job's job.json",
       [](FactsSample& now, FactsSample&) { now.at("oak/job.json").job->job = "elm-4"; },
       {"job-altered oak/job.json"}},
      {"another read",
       [](FactsSample& now, FactsSample&) {
         now.at("oak/base-1/read/program.bin").digest = digest_of("another");
       },
       {"read-altered oak/base-1/read/program.bin"}},
      {"no read",
       [](FactsSample& now, FactsSample&) { now.files.erase("oak/base-1/read/program.bin"); },
       {"job-file-missing oak/base-1/read/program.bin"}},
      {"a read that is kept once for many jobs",
       [](FactsSample& now, FactsSample&) {
         FileFacts kept = now.at("oak/base-1/read/program.bin");
         now.files.erase(kept.path);
         kept.path = "shared/a";
         now.files[kept.path] = kept;
       },
       {}},
      {"another region map",
       [](FactsSample& now, FactsSample&) {
         now.at("oak/base-1/regions.json").digest = digest_of("another");
       },
       {"map-altered oak/base-1/regions.json"}},
      {"another salt",
       [](FactsSample& now, FactsSample&) { now.at("oak/job.salt").salt = digest_of("other"); },
       {"salt-altered oak/job.salt"}},
      {"another option",
       [](FactsSample& now, FactsSample&) {
         now.at("oak/base-1/options/lamp.json").digest = digest_of("another");
       },
       {"option-missing oak/base-1/options"}},
      {"an option that came with a send",
       [](FactsSample& now, FactsSample&) {
         FileFacts sent = now.at("oak/base-1/options/lamp.json");
         now.files.erase(sent.path);
         sent.path = "oak/base-1/edited/r1-lamp.option.json";
         now.files[sent.path] = sent;
       },
       {}},
      {"a later region map in place of the one that the base was sealed with",
       [](FactsSample& now, FactsSample&) {
         now.at("oak/base-1/r1.calseal").revision->map = digest_of("later");
         now.at("oak/base-1/regions.json").digest = digest_of("later");
       },
       {"map-altered oak/base-1/regions.json"}},
      {"no job.json",
       [](FactsSample& now, FactsSample&) { now.files.erase("oak/job.json"); },
       {"job-file-missing oak/job.json"}},
      {"no events",
       [](FactsSample& now, FactsSample&) { now.files.erase("oak/events.jsonl"); },
       {"job-file-missing oak/events.jsonl"}},
      {"no salt",
       [](FactsSample& now, FactsSample&) { now.files.erase("oak/job.salt"); },
       {"job-file-missing oak/job.salt"}},
      {"no region map",
       [](FactsSample& now, FactsSample&) { now.files.erase("oak/base-1/regions.json"); },
       {"job-file-missing oak/base-1/regions.json"}},
      {"another log under its name",
       [](FactsSample& now, FactsSample&) { now.at("oak/logs/drive.csv").digest = digest_of("another"); },
       {"file-changed oak/logs/drive.csv"}},
      {"zeros for job.json, and nothing for the notes",
       [](FactsSample& now, FactsSample&) {
         now.add("oak/job.json", FileKind::kUnknown);
         now.add("oak/events.jsonl", FileKind::kEmpty);
       },
       {"file-damaged oak/events.jsonl", "file-damaged oak/job.json"}},
      {"files of these names in no job's folder",
       [](FactsSample& now, FactsSample&) {
         now.add("elsewhere/job.json", FileKind::kUnknown);
         now.add("elsewhere/events.jsonl", FileKind::kEmpty);
         now.add("elsewhere/vehicle.json", FileKind::kUnknown);
       },
       {}},
      {"zeros for vehicle.json",
       [](FactsSample& now, FactsSample&) { now.add("vehicle.json", FileKind::kUnknown); },
       {"file-damaged vehicle.json"}},
      {"a revision that was moved out of its job's folder",
       [](FactsSample& now, FactsSample&) {
         FileFacts moved = now.at(kSecond);
         now.files.erase(kSecond);
         moved.path = "elsewhere/second";
         now.files[moved.path] = moved;
       },
       {std::string("job-file-missing ") + kSecond}},
      {"the same, where job.json is that of another job",
       [](FactsSample& now, FactsSample&) {
         FileFacts moved = now.at(kSecond);
         now.files.erase(kSecond);
         moved.path = "elsewhere/second";
         now.files[moved.path] = moved;
         now.at("oak/job.json").job->job = "elm-3";
       },
       {"job-altered oak/job.json"}},
      {"a copy of it elsewhere, and the bundle in its place",
       [](FactsSample& now, FactsSample&) {
         FileFacts copy = now.at(kSecond);
         copy.path = "elsewhere/second";
         now.files[copy.path] = copy;
       },
       {}},
      {"lines that are no notes",
       [](FactsSample& now, FactsSample&) { now.at("oak/events.jsonl").job->broken_lines = 2; },
       {"notes-damaged oak/events.jsonl"}},
  };
}

std::vector<Case> cases_of_earlier_audits() {
  return {
      {"nothing changed", [](FactsSample&, FactsSample&) {}, {}, true},
      {"a note that changed",
       [](FactsSample& now, FactsSample&) { now.at("notes.txt").digest = digest_of("another"); },
       {"file-changed notes.txt"},
       true},
      {"a note that is gone",
       [](FactsSample& now, FactsSample&) { now.files.erase("notes.txt"); },
       {"file-gone notes.txt"},
       true},
      {"a bundle that is gone from a job without a folder is one finding, in its place",
       [](FactsSample& now, FactsSample& before) {
         for (FactsSample* sample : {&now, &before}) {
           sample->bundle("elm/r1.calseal", "gearbox", 1, 1);
           sample->seals().back().job = "elm-3";
           sample->at("elm/r1.calseal").revision->job = "elm-3";
         }
         now.files.erase("elm/r1.calseal");
       },
       {"missing elm/r1.calseal"},
       true},
      {"a note that is new",
       [](FactsSample& now, FactsSample&) { now.add("new.txt", FileKind::kUnknown); },
       {},
       true},
      {"an older trust file",
       [](FactsSample& now, FactsSample&) {
         now.at("shop.trust").digest = digest_of("version 2");
         now.at("shop.trust").statement->number = 2;
       },
       {"statement-older shop.trust"},
       true},
      {"a newer trust file",
       [](FactsSample& now, FactsSample&) {
         now.at("shop.trust").digest = digest_of("version 4");
         now.at("shop.trust").statement->number = 4;
       },
       {},
       true},
      {"another trust file of the same number",
       [](FactsSample& now, FactsSample&) { now.at("shop.trust").digest = digest_of("another"); },
       {"file-changed shop.trust"},
       true},
      {"events that grew",
       [](FactsSample& now, FactsSample&) {
         now.at("oak/events.jsonl").digest = digest_of("longer");
         now.at("oak/events.jsonl").continues = true;
       },
       {},
       true},
      {"events that were rewritten",
       [](FactsSample& now, FactsSample&) {
         now.at("oak/events.jsonl").digest = digest_of("longer");
         now.at("oak/events.jsonl").continues = false;
       },
       {"file-changed oak/events.jsonl"},
       true},
      {"a file of another kind",
       [](FactsSample& now, FactsSample&) { now.at("notes.txt").kind = FileKind::kIntelHex; },
       {"file-changed notes.txt"},
       true},
  };
}

std::vector<Case> all_cases() {
  std::vector<Case> all;
  for (auto group :
       {cases_of_files(), cases_of_bundles(), cases_of_chains(), cases_of_ledgers(), cases_of_ledger_causes(),
        cases_of_job_folders(), cases_of_vehicles(), cases_of_parcels(), cases_of_earlier_audits()})
    all.insert(all.end(), group.begin(), group.end());
  return all;
}

Judgement judged(const Case& one) {
  FactsSample now, before;
  one.change(now, before);
  const AuditRecord earlier = before.record();
  return judge_record(now.record(), one.compared ? &earlier : nullptr);
}

TEST(Judge, FindsNothingWhereAllIsWell) {
  const Judgement judgement = judge_record(FactsSample().record(), nullptr);
  EXPECT_EQ(named(judgement), std::multiset<std::string>{});
  EXPECT_TRUE(judgement.clean());
  EXPECT_EQ(judgement.bundles, 2u);
  EXPECT_EQ(judgement.proved, 2u);
  EXPECT_EQ(judgement.jobs, 1u);
  EXPECT_EQ(judgement.ledgers, 1u);
  // Notes and job.json and events.jsonl: nothing signed or sealed names them.
  EXPECT_EQ(judgement.unproved_files, 3u);
}

TEST(Judge, NamesWhatIsWrongAndNothingElse) {
  for (const Case& one : all_cases()) EXPECT_EQ(named(judged(one)), one.expected) << one.name;
}

TEST(Judge, ReachesEveryFindingOfTheClosedList) {
  std::set<std::string_view> reached, listed;
  for (const Case& one : all_cases()) {
    for (const Finding& finding : judged(one).findings) reached.insert(info(finding.code).name);
  }
  for (const FindingInfo& row : all_findings()) listed.insert(row.name);
  EXPECT_EQ(reached, listed);
}

TEST(Judge, IsCleanWithNotesAlone) {
  for (const Case& one : all_cases()) {
    const Judgement judgement = judged(one);
    const bool notes_alone = std::ranges::all_of(
        judgement.findings, [](const Finding& finding) { return finding.severity() == Severity::kNote; });
    EXPECT_EQ(judgement.clean(), notes_alone) << one.name;
  }
}

TEST(Judge, SaysWhatShouldStandInThePlaceOfWhatIsWrong) {
  const auto only = [](const Case& one) {
    const Judgement judgement = judged(one);
    EXPECT_EQ(judgement.findings.size(), 1u);
    return judgement.findings.empty() ? std::optional<WantedFile>() : judgement.findings.front().wanted;
  };
  // The ledger knows what a damaged or missing bundle was, whatever it says of itself.
  const WantedFile second{WantedFile::By::kIdentity, kSecond, digest_of(kSecond), FileKind::kBundle,
                          std::nullopt};
  EXPECT_EQ(only({"", [](FactsSample& now, FactsSample&) { now.files.erase(kSecond); }, {}}), second);
  const auto damaged = only(broken("", Reason::kContentDigest));
  ASSERT_TRUE(damaged);
  EXPECT_EQ(damaged->by, WantedFile::By::kIdentity);
  EXPECT_EQ(damaged->digest, digest_of(kSecond));
  // A salt and a changed note are known by what sealed revisions and the earlier audit say.
  const auto salt = only({"", [](FactsSample& now, FactsSample&) { now.files.erase("oak/job.salt"); }, {}});
  EXPECT_EQ(salt, (WantedFile{WantedFile::By::kSalt, "oak/job.salt", digest_of("salt"), FileKind::kSalt,
                              std::nullopt}));
  const auto note =
      only({"", [](FactsSample& now, FactsSample&) { now.files.erase("notes.txt"); }, {}, true});
  EXPECT_EQ(note, (WantedFile{WantedFile::By::kBytes, "notes.txt", digest_of("notes.txt"), FileKind::kUnknown,
                              std::nullopt}));
}

TEST(Judge, OfARunThatWasCutOffSaysNothingOfWhatItDidNotSee) {
  FactsSample sample;
  sample.files.erase(kFirst);
  break_bundle(sample.at(kSecond), Reason::kSignatureBad);
  AuditRecord record = sample.record();
  record.whole = false;
  const AuditRecord earlier = FactsSample().record();
  const Judgement judgement = judge_record(record, &earlier);
  EXPECT_EQ(named(judgement), std::multiset<std::string>{std::string("signature-bad ") + kSecond});
  EXPECT_FALSE(judgement.clean());

  FactsSample well;
  record = well.record();
  record.whole = false;
  EXPECT_FALSE(judge_record(record, nullptr).clean());
}

TEST(Judge, OfTheSameRecordIsTheSame) {
  Random random;
  const std::vector<Case> cases = all_cases();
  for (int round = 0; round < 200; ++round) {
    // One change now, and another one at the earlier audit.
    FactsSample now, then, unused;
    cases[random.between(0, cases.size() - 1)].change(now, unused);
    cases[random.between(0, cases.size() - 1)].change(then, unused);
    const AuditRecord record = now.record();
    const AuditRecord earlier = then.record();
    const Judgement once = judge_record(record, &earlier);
    EXPECT_EQ(named(once), named(judge_record(record, &earlier)));
    EXPECT_TRUE(std::ranges::is_sorted(once.findings, comes_before));
    EXPECT_EQ(std::ranges::adjacent_find(once.findings, is_same_finding), once.findings.end());
    const Result<AuditRecord> read = parse_record(write_record(record), "record");
    ASSERT_TRUE(read);
    EXPECT_EQ(named(judge_record(*read, &earlier)), named(once));
  }
}

std::vector<std::string> ages(const Judgement& judgement) {
  std::vector<std::string> all;
  for (const Finding& finding : judgement.findings)
    all.push_back(std::string(finding_age_name(finding.age)) + " " + finding.path);
  return all;
}

TEST(Compare, TellsNewStillAndGone) {
  FactsSample then, now;
  then.scope.unreadable = {"a", "b"};
  now.scope.unreadable = {"b", "c"};
  const Judgement before = judge_record(then.record(), nullptr);
  Judgement after = judge_record(now.record(), nullptr);
  compare_findings(after, before.findings);
  EXPECT_TRUE(after.compared);
  EXPECT_EQ(ages(after), (std::vector<std::string>{"gone a", "still-there b", "new c"}));
  EXPECT_EQ(after.count(Severity::kError), 2u);

  // What was gone then is not gone again.
  Judgement later = judge_record(now.record(), nullptr);
  compare_findings(later, after.findings);
  EXPECT_EQ(ages(later), (std::vector<std::string>{"still-there b", "still-there c"}));

  // A run that was cut off cannot say that something is gone.
  AuditRecord part = now.record();
  part.whole = false;
  Judgement cut = judge_record(part, nullptr);
  compare_findings(cut, before.findings);
  EXPECT_EQ(ages(cut), (std::vector<std::string>{"still-there b", "new c"}));

  // Only what is gone: clean.
  Judgement clean = judge_record(FactsSample().record(), nullptr);
  compare_findings(clean, before.findings);
  EXPECT_EQ(ages(clean), (std::vector<std::string>{"gone a", "gone b"}));
  EXPECT_TRUE(clean.clean());
}

}  // namespace
}  // namespace calseal
