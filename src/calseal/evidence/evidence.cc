#include "calseal/evidence/evidence.h"

#include <algorithm>
#include <map>
#include <set>

#include "calseal/archive/audit.h"
#include "calseal/archive/path_text.h"
#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/evidence/by_hand.h"
#include "calseal/evidence/take_files.h"
#include "calseal/job/ledger_link.h"
#include "calseal/ledger/detail.h"
#include "calseal/ledger/head.h"
#include "calseal/ledger/kept_heads.h"
#include "calseal/ledger/layout.h"
#include "calseal/trust/consistency.h"
#include "calseal/trust/key.h"

namespace calseal {
namespace {

class Gathering {
 public:
  explicit Gathering(const EvidenceRequest& request) : request_(request) {}

  Result<JudgedFolder> judge(const Survey& survey) {
    CALSEAL_CHECK(load_trust());
    return judged(survey);
  }

  Result<JobEvidence> run(std::optional<JudgedFolder> already) {
    CALSEAL_CHECK(load_trust());
    CALSEAL_ASSIGN(survey_, survey_archive({request_.job}));
    if (!already) {
      CALSEAL_ASSIGN(already, judged(survey_));
    }
    evidence_.record = std::move(already->record);
    evidence_.findings = std::move(already->findings);
    CALSEAL_CHECK(take_folder());
    read_the_job();
    CALSEAL_CHECK(take_ledger());
    add_text(evidence_.files, "by-hand/bundle.py", by_hand_bundle());
    add_text(evidence_.files, "by-hand/ledger.py", by_hand_ledger());
    std::ranges::sort(evidence_.files, {}, &NewFile::path);
    return std::move(evidence_);
  }

 private:
  void put(std::string path, Bytes bytes) {
    evidence_.files.push_back({std::move(path), std::move(bytes), FileMode::kPublic});
  }

  // --- trust

  Status load_trust() {
    CALSEAL_ASSIGN(Bytes newest, read_file(request_.trust, kTrustFileSizeLimit));
    std::vector<NamedBytes> successions;
    for (const std::string& path : request_.successions) {
      CALSEAL_ASSIGN(Bytes step, read_file(path, kSuccessionSizeLimit));
      put("trust/succession-" + std::to_string(successions.size() + 1) + ".json", step);
      successions.push_back({printable(path), std::move(step)});
    }
    trust_digest_ = compute_sha256(newest);
    CALSEAL_ASSIGN(evidence_.chain,
                   parse_trust_chain({printable(request_.trust), newest}, successions, request_.stated_root));
    evidence_.root_stated = !request_.stated_root.empty();
    trust_.push_back(&evidence_.chain.trust);
    for (auto step = evidence_.chain.steps.rbegin(); step != evidence_.chain.steps.rend(); ++step)
      trust_.push_back(&step->old_trust);
    put("trust/shop.trust", newest);
    for (const std::string& path : request_.earlier_trust) {
      CALSEAL_ASSIGN(const Bytes bytes, read_file(path, kTrustFileSizeLimit));
      CALSEAL_ASSIGN(TrustFile trust, parse_trust_file(bytes, "", printable(path)));
      const std::string file = "trust/version-" + std::to_string(trust.version) + "-" +
                               digest_text(compute_sha256(bytes)).substr(0, 8) + ".trust";
      put(file, bytes);
      evidence_.versions.push_back({file, std::move(trust)});
    }
    std::ranges::stable_sort(evidence_.versions, {},
                             [](const TrustVersion& version) { return version.trust.version; });
    evidence_.versions.push_back({"trust/shop.trust", evidence_.chain.trust});
    if (!request_.withdrawals.empty()) {
      CALSEAL_ASSIGN(const Bytes bytes, read_file(request_.withdrawals, kWithdrawalSizeLimit));
      CALSEAL_ASSIGN(evidence_.withdrawals,
                     parse_withdrawals(bytes, evidence_.chain.trust, printable(request_.withdrawals)));
      put("trust/shop.withdrawals", bytes);
    }
    put_keys();
    return {};
  }

  // Every key of every trust file as openssl reads it, by its id.
  void put_keys() {
    std::map<std::string, PublicKey> keys;
    const auto add = [&](const TrustFile& trust) {
      keys.emplace(digest_text(compute_key_id(trust.root)), trust.root);
      for (const TrustedKey& key : trust.keys) keys.emplace(digest_text(key.id), key.public_key);
    };
    for (const TrustFile* trust : trust_) add(*trust);
    for (const TrustVersion& version : evidence_.versions) add(version.trust);
    for (const auto& [id, key] : keys) add_text(evidence_.files, "keys/" + id + ".pem", public_key_pem(key));
  }

  // --- the folder

  Result<JudgedFolder> judged(const Survey& survey) const {
    AuditRequest audit;
    audit.survey = &survey;
    audit.depth = Depth::kProved;
    audit.trust = trust_;
    audit.trust_digest = trust_digest_;
    JudgedFolder folder;
    CALSEAL_ASSIGN(folder.record, run_audit(audit));
    folder.findings = judge_record(folder.record, nullptr).findings;
    // The ledger is named beside the job's folder, and judged by itself.
    std::erase_if(folder.findings, [](const Finding& finding) {
      return finding.severity() == Severity::kNote || finding.code == FindingCode::kLedgerGone;
    });
    return folder;
  }

  Status take_folder() {
    CALSEAL_ASSIGN(TakenFiles taken, take_files(survey_, request_.with_salt));
    for (NewFile& file : taken.files) evidence_.files.push_back(std::move(file));
    evidence_.left_out = std::move(taken.left_out);
    evidence_.salt_left_out = taken.salt_left_out;
    return {};
  }

  void read_the_job() {
    const WithdrawalList* const list = evidence_.withdrawals ? &*evidence_.withdrawals : nullptr;
    Result<Job> job = read_job(request_.job, {&evidence_.chain.trust, list});
    if (job) {
      evidence_.job = *std::move(job);
    } else {
      evidence_.job_fault = std::move(job).error();
    }
  }

  // --- the ledger

  // The job's name: that of job.json, else of its bundles.
  std::string job_name() const {
    if (evidence_.job) return evidence_.job->facts.job;
    for (const FileFacts& facts : evidence_.record.files) {
      if (facts.revision) return facts.revision->job;
    }
    return {};
  }

  std::string ledger_place() const {
    if (!request_.ledger.empty()) return request_.ledger;
    const auto linked = linked_ledger(request_.job);
    return linked && *linked && exists(**linked) ? **linked : std::string();
  }

  Status take_ledger() {
    const std::string place = ledger_place();
    if (place.empty()) return {};
    LedgerEvidence ledger;
    LedgerQuestion question;
    question.trust = &evidence_.chain.trust;
    question.earlier.assign(trust_.begin() + 1, trust_.end());
    std::vector<std::pair<std::string, TreeHead>> own_heads;
    for (const SurveyedFile& file : survey_.files) {
      if (file.kind != FileKind::kLedgerHead) continue;
      Result<Bytes> bytes = read_file(survey_.place(file), kTreeHeadSizeLimit);
      if (!bytes) continue;
      if (const auto head = read_tree_head(*bytes, ""))
        own_heads.emplace_back("job/" + file.path, head->tree);
      question.heads.push_back({{printable(file.path), *std::move(bytes)}, std::nullopt});
    }
    const std::string job = job_name();
    std::string details;
    question.on_record = [&](const LedgerRecord& record) {
      if (record.detail_state != DetailState::kPresent || record.detail.facts.job != job) return;
      details += write_ledger_detail(record.detail) + "\n";
      EvidenceEntry& entry = ledger.entries.emplace_back();
      entry.index = record.index;
      entry.facts = record.detail.facts;
    };
    Result<LedgerReport> report = verify_ledger(place, question);
    if (!report) {
      evidence_.ledger_fault = std::move(report).error();
      return {};
    }
    ledger.report = *std::move(report);
    for (EvidenceEntry& entry : ledger.entries) entry.witnessed = ledger.report.witnessed(entry.index);
    for (const JudgedHead& head : ledger.report.heads) {
      if (head.holds && head.kept_here) ledger.newest = head.head.tree;
    }
    CALSEAL_CHECK(put_ledger_files(place, details));
    put_proofs(place, own_heads, ledger);
    evidence_.ledger = std::move(ledger);
    return {};
  }

  Status put_ledger_files(const std::string& place, const std::string& details) {
    const std::string folder = ledger_folder(place);
    CALSEAL_ASSIGN(Bytes entries, read_file(folder + "/" + std::string(kEntriesFile), kEvidenceSizeLimit));
    // What a writer left who was cut off is no entry.
    while (!entries.empty() && entries.back() != '\n') entries.pop_back();
    put("ledger/entries.jsonl", std::move(entries));
    add_text(evidence_.files, "ledger/this-job.jsonl", details);
    for (const KeptHead& head : kept_heads(folder)) {
      for (const std::string& path : {head.path, head.token_path}) {
        if (path.empty()) continue;
        if (Result<NamedBytes> kept = read_kept(path, std::uint64_t{1} << 20))
          put("ledger/heads/" + std::string(name_of(path)), std::move(kept->bytes));
      }
    }
    return {};
  }

  void put_proofs(const std::string& place, const std::vector<std::pair<std::string, TreeHead>>& own_heads,
                  LedgerEvidence& ledger) {
    if (!ledger.newest) return;
    std::set<Sha256> sealed;
    for (const EvidenceEntry& entry : ledger.entries) {
      if (entry.facts.kind == EntryKind::kSealed) sealed.insert(entry.facts.about);
    }
    const Result<LedgerProver> prover = LedgerProver::read(place, sealed);
    if (!prover) return;
    for (EvidenceEntry& entry : ledger.entries) {
      if (entry.facts.kind != EntryKind::kSealed || entry.index >= ledger.newest->size) continue;
      const auto proof = prover->inclusion(entry.facts.about, ledger.newest);
      if (!proof) continue;
      entry.proof = "ledger/proofs/entry-" + std::to_string(entry.index) + ".inclusion";
      add_text(evidence_.files, entry.proof, write_inclusion(*proof));
    }
    std::set<std::uint64_t> done;
    for (const auto& [file, head] : own_heads) {
      if (head.size >= ledger.newest->size || !done.insert(head.size).second) continue;
      const auto proof = prover->consistency(head, *ledger.newest);
      if (!proof) continue;
      const std::string name = "ledger/proofs/" + std::to_string(head.size) + "-to-" +
                               std::to_string(ledger.newest->size) + ".consistency";
      add_text(evidence_.files, name, write_consistency(*proof));
    }
  }

  const EvidenceRequest& request_;
  JobEvidence evidence_;
  Survey survey_;
  std::vector<const TrustFile*> trust_;
  Sha256 trust_digest_;
};

}  // namespace

bool is_sound(const JobEvidence& evidence) {
  return evidence.findings.empty() && !evidence.job_fault && !evidence.ledger_fault;
}

void add_text(std::vector<NewFile>& files, std::string path, std::string_view text) {
  files.push_back({std::move(path), Bytes(text.begin(), text.end()), FileMode::kPublic});
}

Result<JobEvidence> gather_evidence(const EvidenceRequest& request, std::optional<JudgedFolder> judged) {
  return Gathering(request).run(std::move(judged));
}

Result<JudgedFolder> judge_for_evidence(const EvidenceRequest& request, const Survey& survey) {
  return Gathering(request).judge(survey);
}

}  // namespace calseal
