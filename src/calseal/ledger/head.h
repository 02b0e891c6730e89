// Signing the newest head of a ledger, and proofs out of it.
#pragma once

#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/ledger/detail.h"
#include "calseal/sign/statement_sign.h"
#include "calseal/trust/consistency.h"
#include "calseal/trust/inclusion.h"
#include "calseal/trust/succession.h"
#include "calseal/trust/tree_head.h"

namespace calseal {

struct MadeHead {
  SignedHead head;
  std::string text;  // the file
  std::string file;  // where it is kept, within the ledger's folder
  bool was_there = false;
};

// Signs the head of all acknowledged entries and keeps it in the ledger's folder; one that is kept for this
// size and holds under `trust` is given again. The entries are read once before: nothing is signed that
// contradicts the newest kept head or the tip (kLedgerRewritten). kNotInLedger for an empty ledger,
// kLedgerDamaged, and what parse_tree_head() refuses (a key without the role).
Result<MadeHead> sign_head(const std::string& folder, const SigningKeys& keys, const TrustFile& trust,
                           UtcTime now);

// The newest head that is kept; nothing when there is none.
Result<std::optional<NamedBytes>> newest_head(const std::string& folder);

// Any number of proofs from one reading of a ledger.
class LedgerProver {
 public:
  // `revisions`: those that inclusion() will be asked for. Errors are those of LedgerReader.
  static Result<LedgerProver> read(const std::string& folder, const std::set<Sha256>& revisions);

  // As prove_inclusion() and prove_consistency() below.
  Result<InclusionProof> inclusion(const Sha256& revision, const std::optional<TreeHead>& expected) const;
  Result<ConsistencyProof> consistency(const TreeHead& first, const TreeHead& second) const;

 private:
  Status expect(const TreeHead& head) const;  // kNotInLedger, kLedgerRewritten

  std::string name_;
  std::vector<Sha256> leaves_;
  std::map<Sha256, InclusionProof> sealed_;  // entry, salt and index of the first entry of each
};

// The proof that the ledger held the `sealed` entry of this revision under the head of `size` entries
// (nothing: all). kNotInLedger, kLedgerRewritten when `expected` is given and is not the ledger's head of its
// size.
Result<InclusionProof> prove_inclusion(const std::string& folder, const Sha256& manifest_digest,
                                       const std::optional<TreeHead>& expected);

// The proof that the ledger's head of second.size entries continues the one of first.size; both must be the
// ledger's (kLedgerRewritten, kNotInLedger for a size beyond it).
Result<ConsistencyProof> prove_consistency(const std::string& folder, const TreeHead& first,
                                           const TreeHead& second);

}  // namespace calseal
