#include "calseal/ledger/head.h"

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/ledger/kept_heads.h"
#include "calseal/ledger/layout.h"
#include "calseal/ledger/line_reader.h"
#include "calseal/ledger/merkle.h"
#include "calseal/ledger/reader.h"
#include "calseal/ledger/writer.h"

namespace calseal {
namespace {

std::string head_words(const TreeHead& head) {
  return grouped(head.size) + " entries, " + digest_text(head.root_hash);
}

tl::unexpected<Error> rewritten(const std::string& name, std::string found, std::string expected) {
  return fail({Reason::kLedgerRewritten, name, "", std::move(found), std::move(expected),
               "sign nothing; see calseal ledger verify, and find out who changed the ledger"});
}

// A shop that signs two heads which contradict each other has lost: the entries must be those of the tip, and
// the newest kept head must hold on them.
Status expect_history(const std::string& folder, const LedgerTip& tip,
                      const std::optional<SignedHead>& newest) {
  CALSEAL_ASSIGN(LineReader lines, LineReader::open(folder + "/" + std::string(kEntriesFile),
                                                    kLedgerFileLimit, kLedgerLineLimit));
  CALSEAL_ASSIGN(std::optional<std::string_view> line, lines.next());
  MerkleFrontier frontier;
  while (line && frontier.size() < tip.size) {
    CALSEAL_ASSIGN(line, lines.next());
    if (!line) break;
    frontier.append(merkle_leaf_hash(view_of(*line)));
    if (newest && frontier.size() == newest->tree.size && frontier.head() != newest->tree)
      return rewritten(lines.shown(), "head of " + head_words(frontier.head()), head_words(newest->tree));
  }
  if (frontier.peaks() == tip.peaks) return {};
  return rewritten(lines.shown(), "other entries than those that were acknowledged",
                   "the entries of the tip");
}

}  // namespace

Result<MadeHead> sign_head(const std::string& folder, const SigningKeys& keys, const TrustFile& trust,
                           UtcTime now) {
  CALSEAL_ASSIGN(const LedgerWriter writer, LedgerWriter::open(folder));
  MadeHead made;
  made.head.tree = writer.head();
  if (made.head.tree.size == 0) {
    return fail(
        {Reason::kNotInLedger, printable(folder), "", "no entry", "at least one", "append something first"});
  }
  made.head.root = compute_key_id(trust.root);
  made.head.ledger = writer.tip().id;
  made.head.claimed_time = time_text(now);
  made.file = head_file(made.head.tree.size);
  std::optional<SignedHead> newest;
  CALSEAL_ASSIGN(const std::optional<NamedBytes> kept, newest_head(folder));
  if (kept) {
    CALSEAL_ASSIGN(newest, read_tree_head(kept->bytes, kept->name));
    if (newest->tree.size > made.head.tree.size || newest->ledger != made.head.ledger)
      return rewritten(kept->name, "a kept head of " + head_words(newest->tree),
                       "at most " + head_words(made.head.tree));
  }
  CALSEAL_CHECK(expect_history(folder, writer.tip(), newest));
  if (newest && newest->tree == made.head.tree && parse_tree_head(kept->bytes, trust, kept->name)) {
    made.head = *newest;
    made.text = std::string(text_of(kept->bytes));
    made.was_there = true;
    return made;
  }
  CALSEAL_ASSIGN(made.text, sign_statement(write_tree_head_text(made.head), keys));
  CALSEAL_CHECK(parse_tree_head(view_of(made.text), trust, "the new head"));
  CALSEAL_CHECK(write_file(folder + "/" + made.file, view_of(made.text)));
  return made;
}

Result<std::optional<NamedBytes>> newest_head(const std::string& folder) {
  const std::vector<KeptHead> kept = kept_heads(folder);
  if (kept.empty()) return std::optional<NamedBytes>();
  CALSEAL_ASSIGN(NamedBytes newest, read_kept(kept.back().path, kTreeHeadSizeLimit));
  return std::optional(std::move(newest));
}

Result<LedgerProver> LedgerProver::read(const std::string& folder, const std::set<Sha256>& revisions) {
  CALSEAL_ASSIGN(LedgerReader reader, LedgerReader::open(folder));
  LedgerProver prover;
  prover.name_ = reader.name();
  for (;;) {
    CALSEAL_ASSIGN(const std::optional<LedgerRecord> record, reader.next());
    if (!record) return prover;
    prover.leaves_.push_back(record->leaf_hash);
    if (record->detail_state != DetailState::kPresent || record->detail.facts.kind != EntryKind::kSealed ||
        !revisions.contains(record->detail.facts.about))
      continue;
    const auto [at, is_first] = prover.sealed_.try_emplace(record->detail.facts.about);
    if (!is_first) continue;
    const Sha256 salt = entry_salt(record->detail.nonce, record->detail.facts);
    at->second.entry = record->line;
    at->second.salt.assign(salt.bytes.begin(), salt.bytes.end());
    at->second.index = record->index;
  }
}

Status LedgerProver::expect(const TreeHead& head) const {
  if (head.size > leaves_.size() || head.size == 0) {
    return fail({Reason::kNotInLedger, name_, "", grouped(leaves_.size()) + " entries",
                 "a head of 1 to that many; asked for " + grouped(head.size),
                 "check that this is the right ledger; fewer entries than a head says: some were removed"});
  }
  const TreeHead here{head.size, merkle_root(LeafHashes(leaves_).first(head.size))};
  if (here == head) return {};
  return rewritten(name_, "head of " + head_words(here), head_words(head));
}

Result<InclusionProof> LedgerProver::inclusion(const Sha256& revision,
                                               const std::optional<TreeHead>& expected) const {
  if (expected) {
    CALSEAL_CHECK(expect(*expected));
  }
  const std::uint64_t size = expected ? expected->size : leaves_.size();
  const auto found = sealed_.find(revision);
  const bool is_there = found != sealed_.end();
  if (!is_there || found->second.index >= size) {
    return fail({Reason::kNotInLedger, name_, "",
                 is_there ? "entry " + grouped(found->second.index) + ", behind the head"
                          : "no entry that it was sealed",
                 "revision " + digest_text(revision) + " under a head of " + grouped(size) + " entries",
                 is_there ? "ask for a newer head"
                          : "append it with calseal ledger append; erased details prove nothing"});
  }
  InclusionProof proof = found->second;
  const LeafHashes under = LeafHashes(leaves_).first(size);
  proof.head = {size, merkle_root(under)};
  proof.path = make_audit_path(under, proof.index);
  return proof;
}

Result<ConsistencyProof> LedgerProver::consistency(const TreeHead& first, const TreeHead& second) const {
  if (first.size > second.size) {
    return fail({Reason::kUsage, "", "heads", grouped(first.size) + " entries, then " + grouped(second.size),
                 "the smaller one first", "change their order"});
  }
  CALSEAL_CHECK(expect(first));
  CALSEAL_CHECK(expect(second));
  return ConsistencyProof{first, second,
                          make_consistency_path(LeafHashes(leaves_).first(second.size), first.size)};
}

Result<InclusionProof> prove_inclusion(const std::string& folder, const Sha256& manifest_digest,
                                       const std::optional<TreeHead>& expected) {
  CALSEAL_ASSIGN(const LedgerProver prover, LedgerProver::read(folder, {manifest_digest}));
  return prover.inclusion(manifest_digest, expected);
}

Result<ConsistencyProof> prove_consistency(const std::string& folder, const TreeHead& first,
                                           const TreeHead& second) {
  CALSEAL_ASSIGN(const LedgerProver prover, LedgerProver::read(folder, {}));
  return prover.consistency(first, second);
}

}  // namespace calseal
