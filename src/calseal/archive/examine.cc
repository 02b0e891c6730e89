#include "calseal/archive/examine.h"

#include <algorithm>
#include <functional>
#include <new>
#include <utility>

#include "calseal/archive/path_text.h"
#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/check/check.h"
#include "calseal/check/receipt.h"
#include "calseal/job/event.h"
#include "calseal/job/job.h"
#include "calseal/job/layout.h"
#include "calseal/job/vehicle_job.h"
#include "calseal/ledger/layout.h"
#include "calseal/map/region_map.h"
#include "calseal/parcel/parcel.h"
#include "calseal/sign/edited_image.h"
#include "calseal/trust/approval.h"
#include "calseal/trust/consistency.h"
#include "calseal/trust/inclusion.h"
#include "calseal/trust/job_list.h"
#include "calseal/trust/succession.h"
#include "calseal/trust/tree_head.h"
#include "calseal/trust/withdrawal.h"

namespace calseal {
namespace {

constexpr std::uint64_t kAnySize = std::uint64_t{1} << 60;  // bytes; files are read in pieces

// The largest file of a kind that is judged as a whole; 0: its bytes are all that is looked at.
std::uint64_t whole_limit(FileKind kind) {
  switch (kind) {
    case FileKind::kTrustFile:
      return kTrustFileSizeLimit;
    case FileKind::kSuccession:
      return kSuccessionSizeLimit;
    case FileKind::kWithdrawals:
      return kWithdrawalSizeLimit;
    case FileKind::kJobList:
      return kJobListSizeLimit;
    case FileKind::kApproval:
      return kApprovalSizeLimit;
    case FileKind::kLedgerHead:
      return kTreeHeadSizeLimit;
    case FileKind::kInclusion:
      return kInclusionSizeLimit;
    case FileKind::kConsistency:
      return kConsistencySizeLimit;
    case FileKind::kReceipt:
      return kReceiptSizeLimit;
    case FileKind::kJobFacts:
    case FileKind::kVehicleFacts:
      return kJobFileSizeLimit;
    case FileKind::kJobEvents:
      return kEventsSizeLimit;
    case FileKind::kSalt:
    case FileKind::kPublicKey:
      return kPublicKeyFileLimit;
    case FileKind::kParcel:
      return kBundleSizeLimit;
    default:
      return 0;
  }
}

bool grows(FileKind kind) { return kind == FileKind::kJobEvents || kind == FileKind::kLedgerEntries; }

// The same error, with the file left to the facts.
Error about_file(Error error) {
  error.file.clear();
  return error;
}

RevisionClaim claim_of(const StoredBundle& stored) {
  const Manifest& manifest = *stored.manifest;
  const ManifestController& controller = manifest.controller();
  RevisionClaim claim;
  claim.identity = stored.digest;
  claim.seal = stored.seal_digest;
  claim.job = manifest.job;
  claim.controller = controller.name;
  claim.base = manifest.base_number;
  claim.revision = manifest.revision;
  claim.sequence = manifest.sequence;
  claim.parent = manifest.parent;
  claim.set = manifest.set;
  claim.salt = manifest.salt_digest;
  claim.claimed_time = manifest.claimed_time;
  claim.map = controller.map_digest;
  claim.pinned = controller.pinned_after;
  if (manifest.revision == 0) {
    for (const ManifestFile& file : controller.files) claim.received.push_back({file.memory, file.digest});
  }
  for (const ManifestOption& option : manifest.options) claim.options.push_back(option.digest);
  claim.signers = stored.signers;
  claim.incomplete = stored.incomplete;
  return claim;
}

JobClaim claim_of(const EventList& list) {
  JobClaim claim;
  claim.broken_lines = list.broken.size();
  for (const Event& event : list.events) {
    const bool sealed = event.kind == EventKind::kSealed || event.kind == EventKind::kReissued;
    if (sealed && event.identity && event.revision && event.sequence)
      claim.sealed.push_back({*event.identity, event.base, *event.revision, *event.sequence});
    if (event.kind == EventKind::kReceived && event.parcel && event.digest)
      claim.parcels.push_back({event.detail, *event.digest});
    if (!event.file.empty() && event.digest && !sealed) claim.attached.push_back({event.file, *event.digest});
  }
  return claim;
}

// Tries the newest trust file, then those before it; the error is that of the newest.
template <typename Value, typename Parse>
Result<Value> under_any(const std::vector<const TrustFile*>& trust, Parse parse) {
  Result<Value> first = parse(*trust.front());
  for (std::size_t i = 1; !first && i < trust.size(); ++i) {
    if (Result<Value> other = parse(*trust[i])) return other;
  }
  return first;
}

}  // namespace

// A revision 0 that holds, and what was proved on it.
struct Examiner::OpenBase {
  FileFacts facts;                // before anything was proved
  OpenedBundle opened;            // without its file
  std::vector<BaseProof> proofs;  // one for each region map

  BaseProof& under(const RegionMap& map) {
    for (BaseProof& proof : proofs) {
      if (proof.map_digest() == map.digest) return proof;
    }
    proofs.emplace_back(map, base_image(opened, map));
    return proofs.back();
  }
};

Examiner::Examiner(const ExamineContext& context) : context_(context) {}
Examiner::~Examiner() = default;

ExamineContext make_examine_context(const Survey& survey, Depth depth, std::vector<const TrustFile*> trust) {
  ExamineContext context;
  context.survey = &survey;
  context.depth = depth;
  context.trust = std::move(trust);
  for (const SurveyedFile& file : survey.files) {
    if (file.hint && file.hint->revision == 0)
      context.way_backs[{file.hint->job, file.hint->base}].push_back(&file);
  }
  return context;
}

FileFacts Examiner::begin(const SurveyedFile& file) const {
  FileFacts facts;
  facts.path = file.path;
  facts.size = file.size();
  facts.kind = file.kind;
  facts.hint = file.hint;
  return facts;
}

OpenContext Examiner::open_context() const {
  OpenContext context;
  context.roles = RolesRule::kMayBeMissing;
  context.trust = context_.trust.front();
  return context;
}

template <typename Look>
bool Examiner::guarded(const SurveyedFile& file, FileFacts& facts, Look look) {
  try {
    return look();
  } catch (const std::bad_alloc&) {
    facts = begin(file);
    facts.fault = Error{Reason::kOutOfMemory,
                        "",
                        "",
                        "too little memory for this file",
                        "memory to read it",
                        "audit it alone, or on a larger machine"};
    return false;
  }
}

std::vector<FileFacts> Examiner::examine(const std::vector<const SurveyedFile*>& files) {
  std::vector<FileFacts> all(files.size());
  std::vector<std::size_t> passing;  // indexes of the files that pass by in pieces
  for (std::size_t i = 0; i < files.size(); ++i) {
    if (files[i]->kind == FileKind::kEmpty) {
      all[i] = begin(*files[i]);
      all[i].digest = compute_sha256({});
      continue;
    }
    if (context_.depth != Depth::kProved || files[i]->kind != FileKind::kBundle) {
      passing.push_back(i);
      continue;
    }
    guarded(*files[i], all[i], [&] {
      all[i] = prove_bundle(*files[i]);
      return false;
    });
  }
  bases_.clear();
  bases_of_.reset();
  pass_files(files, std::move(passing), all);
  return all;
}

// --- files that pass by

// One of them: what is to be hashed of it is hashed beside the other.
class Examiner::Pass {
 public:
  Pass(Examiner& examiner, PieceReader& reader, const SurveyedFile& file)
      : examiner_(examiner), reader_(reader), file_(file), facts_(examiner.begin(file)) {
    const bool is_bundle = file.kind == FileKind::kBundle;
    if (is_bundle) bundle_.emplace(printable(file.path), examiner.open_context(), examiner.streams_);
    read_ = reader.open(examiner.context_.survey->place(file), is_bundle ? kBundleSizeLimit : kAnySize);
    if (is_bundle || !read_) return;
    whole_ = examiner.streams_.begin();
    const auto& earlier = examiner.context_.earlier;
    const auto found = grows(file.kind) ? earlier.find(file.path) : earlier.end();
    if (found == earlier.end()) return;
    earlier_ = &found->second;
    as_it_was_ = examiner.streams_.begin();
    left_ = earlier_->size;
    if (left_ > reader.size()) facts_.continues = false;
  }
  Pass(const Pass&) = delete;
  Pass& operator=(const Pass&) = delete;
  ~Pass() {
    if (whole_) examiner_.streams_.drop(*whole_);
    if (as_it_was_) examiner_.streams_.drop(*as_it_was_);
  }

  // Takes the next piece, which stays where it is until the next call; false when there is none, or no need
  // of more.
  bool advance() {
    if (!read_) return false;
    const bool first = !std::exchange(begun_, true);
    Result<ByteView> piece = first && bundle_ ? reader_.beginning() : reader_.next();
    if (!piece) read_ = fail(std::move(piece).error());
    if (!read_) return false;
    if (bundle_) {
      first ? bundle_->begin(*piece) : bundle_->take(*piece);
      return !piece->empty() && bundle_->goes_on();
    }
    if (piece->empty()) return false;
    examiner_.streams_.update(*whole_, *piece);
    const auto count = static_cast<std::size_t>(std::min<std::uint64_t>(left_, piece->size()));
    if (count != 0) examiner_.streams_.update(*as_it_was_, piece->first(count));
    left_ -= count;
    return true;
  }

  FileFacts finish() {
    Status status = bundle_ ? finish_bundle() : finish_other();
    if (!status) facts_.fault = about_file(std::move(status).error());
    return std::move(facts_);
  }

 private:
  Status finish_bundle() {
    const StoredBundle stored = bundle_->finish(read_);
    if (stored.manifest) facts_.revision = claim_of(stored);
    if (stored.reason) return fail(*stored.reason);
    return {};
  }

  Status finish_other() {
    CALSEAL_CHECK(read_);
    facts_.digest = examiner_.streams_.finish(*std::exchange(whole_, std::nullopt));
    facts_.size = reader_.size();
    if (earlier_ != nullptr && !facts_.continues) {
      facts_.continues =
          examiner_.streams_.finish(*std::exchange(as_it_was_, std::nullopt)) == earlier_->digest;
    }
    if (whole_limit(file_.kind) != 0) CALSEAL_CHECK(examiner_.judge_whole(file_, facts_));
    if (file_.kind == FileKind::kLedgerEntries) CALSEAL_CHECK(examiner_.judge_ledger(file_, facts_));
    return {};
  }

  Examiner& examiner_;
  PieceReader& reader_;
  const SurveyedFile& file_;
  FileFacts facts_;
  Status read_;  // whether it could be read so far
  bool begun_ = false;
  std::optional<PassingBundle> bundle_;
  // Of other files: the digest of all, and of as much as an earlier audit saw.
  std::optional<std::size_t> whole_, as_it_was_;
  const EarlierFile* earlier_ = nullptr;
  std::uint64_t left_ = 0;
};

void Examiner::pass_files(const std::vector<const SurveyedFile*>& files, std::vector<std::size_t> order,
                          std::vector<FileFacts>& all) {
  // Neighbours of one size keep both lanes of the digests busy to the end.
  std::ranges::stable_sort(order, std::ranges::greater(), [&](std::size_t i) { return files[i]->size(); });
  std::array<std::optional<Pass>, kBeside> passes;
  std::array<std::size_t, kBeside> of{};
  std::size_t next = 0;
  for (bool busy = true; busy;) {
    busy = false;
    for (std::size_t slot = 0; slot < kBeside; ++slot) {
      std::optional<Pass>& pass = passes[slot];
      bool waits = false;
      while (!waits && (pass || next < order.size())) {
        if (!pass) of[slot] = order[next++];
        FileFacts& facts = all[of[slot]];
        const SurveyedFile& file = *files[of[slot]];
        waits = guarded(file, facts, [&] {
          if (!pass) pass.emplace(*this, readers_[slot], file);
          if (pass->advance()) return true;
          facts = pass->finish();
          return false;
        });
        if (!waits) pass.reset();
        busy = busy || waits;
      }
    }
    streams_.flush();
  }
}

// --- proved bundles

FileFacts Examiner::prove_bundle(const SurveyedFile& file) {
  FileFacts facts = begin(file);
  if (OpenBase* const base = open_base_of(file)) {
    facts = base->facts;
    prove(base->opened, file, facts);
    return facts;
  }
  if (const auto opened = open(file, facts)) prove(*opened, file, facts);
  return facts;
}

std::optional<OpenedBundle> Examiner::open(const SurveyedFile& file, FileFacts& facts) {
  bool as_stored = false;
  const auto look = [&]() -> Result<OpenedBundle> {
    const std::string name = printable(file.path);
    CALSEAL_ASSIGN(Bytes bytes, read_file(context_.survey->place(file), kBundleSizeLimit));
    StoredBundle stored = open_whole(bytes, name, open_context());
    if (stored.manifest) facts.revision = claim_of(stored);
    if (stored.reason) return fail(*stored.reason);
    as_stored = true;
    CALSEAL_ASSIGN(OpenedBundle opened, open_contents(std::move(bytes), std::move(stored), name,
                                                      last_map_ ? &*last_map_ : nullptr));
    if (!last_map_ || last_map_->digest != opened.map.digest) last_map_ = opened.map;
    if (opened.set) facts.revision->members = opened.set->members;
    return opened;
  };
  Result<OpenedBundle> opened = look();
  if (opened) return *std::move(opened);
  facts.fault = about_file(std::move(opened).error());
  if (as_stored) facts.proof = Proof::kFailed;
  return std::nullopt;
}

void Examiner::open_bases(const BundleHint& hint) {
  const std::pair key{hint.job, hint.base};
  if (bases_of_ == key) return;
  bases_of_ = key;
  bases_.clear();
  const auto found = context_.way_backs.find(key);
  if (found == context_.way_backs.end()) return;
  for (const SurveyedFile* file : found->second) {
    FileFacts facts = begin(*file);
    std::optional<OpenedBundle> opened = open(*file, facts);
    if (!opened || opened->manifest.revision != 0) continue;
    opened->file = Bytes();
    bases_.push_back({std::move(facts), *std::move(opened), {}});
  }
}

// Of a revision 0, so that it is read and judged once.
Examiner::OpenBase* Examiner::open_base_of(const SurveyedFile& file) {
  if (!file.hint || file.hint->revision != 0) return nullptr;
  open_bases(*file.hint);
  const auto found =
      std::ranges::find_if(bases_, [&](const OpenBase& base) { return base.facts.path == file.path; });
  return found == bases_.end() ? nullptr : &*found;
}

std::optional<Bytes> Examiner::salt_near(const SurveyedFile& file, const Manifest& manifest) const {
  if (!manifest.salt_digest) return std::nullopt;
  std::string folder(folder_of(file.path));
  for (int up = 0; up < 2; ++up) {
    const SurveyedFile* salt = context_.survey->find(join_path(folder, kSaltFile));
    if (salt != nullptr && salt->kind == FileKind::kSalt) {
      const Result<Bytes> text = read_file(context_.survey->place(*salt), kPublicKeyFileLimit);
      if (!text) return std::nullopt;
      Result<Bytes> bytes = parse_salt(*text, "");
      if (bytes && compute_sha256(*bytes) == *manifest.salt_digest) return *std::move(bytes);
    }
    folder = folder_of(folder);
  }
  return std::nullopt;
}

void Examiner::prove(const OpenedBundle& opened, const SurveyedFile& file, FileFacts& facts) {
  const Manifest& manifest = opened.manifest;
  open_bases({manifest.job, manifest.base_number, 0, 1});
  OpenBase* base = nullptr;
  for (OpenBase& candidate : bases_) {
    if (candidate.opened.manifest.controller().name != manifest.controller().name) continue;
    if (manifest.revision == 0 && candidate.opened.digest != opened.digest) continue;
    const bool fits =
        candidate.opened.manifest.controller().pinned_after == manifest.controller().pinned_before;
    if (base == nullptr || fits) base = &candidate;
    if (fits) break;
  }
  if (base == nullptr) {
    facts.proof = Proof::kNoBase;
    return;
  }
  Status proved = base->under(opened.map).prove(opened, salt_near(file, manifest));
  facts.proof = proved ? Proof::kProved : Proof::kFailed;
  if (!proved) facts.fault = about_file(std::move(proved).error());
}

// --- other files

Status Examiner::judge_whole(const SurveyedFile& file, FileFacts& facts) {
  const std::string name = printable(file.path);
  if (file.kind == FileKind::kParcel)
    return read_parcel(context_.survey->place(file)).map([](const OpenedParcel&) {});
  CALSEAL_ASSIGN(const Bytes bytes, read_file(context_.survey->place(file), whole_limit(file.kind)));
  switch (file.kind) {
    case FileKind::kSalt: {
      CALSEAL_ASSIGN(const Bytes salt, parse_salt(bytes, name));
      facts.salt = compute_sha256(salt);
      return {};
    }
    case FileKind::kPublicKey:
      return parse_public_key_pem(bytes, name).map([](const PublicKey&) {});
    case FileKind::kInclusion:
      return parse_inclusion(bytes, name).map([](const InclusionProof&) {});
    case FileKind::kConsistency:
      return parse_consistency(bytes, name).map([](const ConsistencyProof&) {});
    case FileKind::kReceipt: {
      CALSEAL_ASSIGN(const Receipt receipt, parse_receipt(bytes, name));
      facts.statement =
          StatementClaim{0, receipt.claimed_time, receipt.job, receipt.controller, {receipt.revision}};
      return {};
    }
    case FileKind::kJobFacts: {
      CALSEAL_ASSIGN(const JobFacts job, parse_job_facts(bytes, name));
      facts.job = JobClaim{job.job, job.controller, 0, {}, {}, {}};
      return {};
    }
    case FileKind::kVehicleFacts: {
      CALSEAL_ASSIGN(const VehicleFacts vehicle, parse_fields(text_of(bytes), vehicle_fields, name));
      facts.job = JobClaim{vehicle.job, "", 0, {}, {}, {}};
      return {};
    }
    case FileKind::kJobEvents:
      facts.job = claim_of(parse_events(text_of(bytes), name));
      return {};
    default:
      return judge_statement(bytes, name, facts);
  }
}

Status Examiner::judge_statement(ByteView bytes, const std::string& name, FileFacts& facts) {
  switch (facts.kind) {
    case FileKind::kTrustFile: {
      CALSEAL_ASSIGN(const TrustFile trust, parse_trust_file(bytes, "", name));
      facts.statement =
          StatementClaim{trust.version, trust.claimed_time, "", "", {compute_key_id(trust.root)}};
      return {};
    }
    case FileKind::kSuccession: {
      CALSEAL_ASSIGN(const Succession step, parse_succession(bytes, name));
      facts.statement = StatementClaim{0, step.claimed_time, "", "", {compute_key_id(step.new_root)}};
      return {};
    }
    case FileKind::kWithdrawals: {
      CALSEAL_ASSIGN(const WithdrawalList list,
                     under_any<WithdrawalList>(context_.trust, [&](const TrustFile& trust) {
                       return parse_withdrawals(bytes, trust, name);
                     }));
      facts.statement = StatementClaim{list.number, list.claimed_time, "", "", {}};
      for (const WithdrawalNotice& notice : list.notices) facts.statement->names.push_back(notice.revision);
      return {};
    }
    case FileKind::kJobList: {
      CALSEAL_ASSIGN(const JobList list, under_any<JobList>(context_.trust, [&](const TrustFile& trust) {
                       return parse_job_list(bytes, trust, name);
                     }));
      facts.statement =
          StatementClaim{list.newest().sequence, list.claimed_time, list.job, list.controller, {}};
      for (const ListedRevision& revision : list.revisions) facts.statement->names.push_back(revision.digest);
      return {};
    }
    case FileKind::kApproval: {
      CALSEAL_ASSIGN(const Approval approval,
                     under_any<Approval>(context_.trust, [&](const TrustFile& trust) {
                       return parse_approval(bytes, trust, name);
                     }));
      facts.statement =
          StatementClaim{0, approval.claimed_time, "", approval.controller, {approval.from, approval.to}};
      return {};
    }
    case FileKind::kLedgerHead: {
      CALSEAL_ASSIGN(const SignedHead head,
                     under_any<SignedHead>(context_.trust, [&](const TrustFile& trust) {
                       return parse_tree_head(bytes, trust, name);
                     }));
      facts.statement = StatementClaim{head.tree.size, head.claimed_time, "", "", {head.ledger}};
      return {};
    }
    default:
      return {};
  }
}

// --- ledgers

namespace {

// Heads that travel beside bundles, as far as they are of this ledger.
std::vector<GivenHead> heads_elsewhere(const Survey& survey, const SurveyedFile& ledger, const Sha256& id) {
  std::vector<GivenHead> heads;
  const std::string own = join_path(join_path(folder_of(ledger.path), kHeadsFolder), "");
  for (const SurveyedFile& file : survey.files) {
    if (file.kind != FileKind::kLedgerHead || file.path.starts_with(own)) continue;
    std::string place = survey.place(file);
    Result<Bytes> bytes = read_file(place, kTreeHeadSizeLimit);
    if (!bytes) continue;
    const Result<SignedHead> head = read_tree_head(*bytes, "");
    if (!head || head->ledger != id) continue;
    heads.push_back({{std::move(place), *std::move(bytes)}, std::nullopt});
  }
  return heads;
}

// The ledger names files as the system has them; the archive has its own names.
std::string archive_name(const Survey& survey, const SurveyedFile& ledger, const std::string& file) {
  const std::string place = survey.place(ledger);
  const std::string folder(folder_of(place));
  const std::string shown = printable(folder) + "/";
  if (file.starts_with(shown)) return join_path(folder_of(ledger.path), file.substr(shown.size()));
  for (const SurveyedFile& other : survey.files) {
    if (printable(survey.place(other)) == file) return other.path;
  }
  return ledger.path;
}

std::vector<LedgerWitness> witnesses_of(const LedgerReport& report) {
  std::vector<LedgerWitness> witnesses;
  const auto add = [&](std::uint64_t size, Witness by, const std::string& time) {
    if (const auto at = parse_time(time); at && size != 0) witnesses.push_back({size, by, *at});
  };
  for (const JudgedHead& judged : report.heads) {
    if (!judged.holds) continue;
    add(judged.head.tree.size, Witness::kHead, judged.head.claimed_time);
    if (judged.token_time) add(judged.head.tree.size, Witness::kToken, *judged.token_time);
  }
  for (const TreeHead& pin : report.pins) add(pin.size, Witness::kPinned, report.pinned_time);
  std::ranges::sort(witnesses);
  witnesses.erase(std::unique(witnesses.begin(), witnesses.end()), witnesses.end());
  return witnesses;
}

}  // namespace

Status Examiner::judge_ledger(const SurveyedFile& file, FileFacts& facts) {
  const std::string place = context_.survey->place(file);
  CALSEAL_ASSIGN(const Bytes beginning, [&]() -> Result<Bytes> {
    CALSEAL_ASSIGN(PartialFile part, PartialFile::open(place, kAnySize));
    Bytes bytes;
    CALSEAL_CHECK(part.read_up_to(kRecogniseSize, bytes));
    return bytes;
  }());
  const std::string_view first = text_of(beginning).substr(0, text_of(beginning).find('\n'));
  CALSEAL_ASSIGN(const Sha256 id, parse_ledger_line(view_of(first), printable(file.path)));
  LedgerClaim claim;
  LedgerQuestion question;
  question.trust = context_.trust.front();
  question.earlier.assign(context_.trust.begin() + 1, context_.trust.end());
  question.heads = heads_elsewhere(*context_.survey, file, id);
  question.on_record = [&](const LedgerRecord& record) {
    const LedgerFacts& said = record.detail.facts;
    if (!record.entry || record.detail_state != DetailState::kPresent) return;
    if (said.kind == EntryKind::kParcelTaken) claim.parcels.push_back({record.index, said.about, said.job});
    if (said.kind != EntryKind::kSealed) return;
    claim.seals.push_back({record.index, said.about, said.job, said.controller, said.base, said.revision,
                           said.sequence, parse_time(record.entry->claimed_time).value_or(UtcTime{})});
  };
  CALSEAL_ASSIGN(const LedgerReport report, verify_ledger(place, question));
  claim.id = report.id;
  claim.head = report.head;
  claim.erased = report.erased;
  claim.witnesses = witnesses_of(report);
  claim.findings = report.findings;
  for (LedgerFinding& finding : claim.findings) {
    if (!finding.file.empty()) finding.file = archive_name(*context_.survey, file, finding.file);
  }
  facts.ledger = std::move(claim);
  return {};
}

}  // namespace calseal
