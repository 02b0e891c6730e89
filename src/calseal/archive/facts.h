// What an audit found in each file, before anything is judged: a file's own story, so that files can be
// looked at on different machines and judged together.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/archive/recognise.h"
#include "calseal/base/boxed.h"
#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/bundle/set_descriptor.h"
#include "calseal/digest/sha256.h"
#include "calseal/ledger/ledger.h"
#include "calseal/trust/key.h"

namespace calseal {

enum class Depth : std::uint8_t {
  kStored,  // container, signatures, digests of stored bytes: says nothing about confinement
  kProved   // images rebuilt, confinement and checksums proved again from bytes
};
inline constexpr std::array<std::string_view, 2> kDepthNames{"stored", "proved"};
inline std::string_view depth_name(Depth depth) { return kDepthNames[static_cast<std::size_t>(depth)]; }

enum class Proof : std::uint8_t {
  kNotAsked,  // depth kStored, or the file did not hold as it is stored
  kProved,
  kFailed,  // FileFacts::fault says why
  kNoBase   // no revision 0 of this base holds in the archive, so nothing could be rebuilt
};
inline constexpr std::array<std::string_view, 4> kProofNames{"not-asked", "proved", "failed", "no-base"};

// A file that something else names by its digest.
struct NamedDigest {
  std::string name;  // memory, file within a job folder, or empty
  Sha256 digest;
  friend bool operator==(const NamedDigest&, const NamedDigest&) = default;
};

// What the manifest of a bundle says; its signatures were good.
struct RevisionClaim {
  Sha256 identity, seal;  // see StoredBundle
  std::string job, controller;
  std::uint64_t base = 1, revision = 0, sequence = 1;
  std::optional<Sha256> parent, set, salt;
  std::string claimed_time;
  Sha256 map, pinned;                 // region map; pinned digest of the result
  std::vector<NamedDigest> received;  // files of the read, revision 0
  std::vector<Sha256> options;
  std::vector<KeyId> signers;
  bool incomplete = false;         // required roles have not signed
  std::vector<SetMember> members;  // of its set; depth kProved only
  friend bool operator==(const RevisionClaim&, const RevisionClaim&) = default;
};

// What a statement says, as far as it is judged with other files.
struct StatementClaim {
  std::uint64_t number = 0;  // version of a trust file, number of a list, entries of a head
  std::string claimed_time;
  std::string job, controller;  // of a job list
  std::vector<Sha256> names;    // revisions that it lists; the root of a trust file; the ledger of a head
  friend bool operator==(const StatementClaim&, const StatementClaim&) = default;
};

// What a job's folder says about itself in job.json and events.jsonl.
struct JobClaim {
  std::string job, controller;
  std::uint64_t broken_lines = 0;
  struct Sealed {
    Sha256 identity;
    std::uint64_t base = 1, revision = 0, sequence = 1;
    friend bool operator==(const Sealed&, const Sealed&) = default;
  };
  std::vector<Sealed> sealed;         // that events note
  std::vector<NamedDigest> attached;  // files within the folder that events name by digest
  std::vector<NamedDigest> parcels;   // files within the vehicle's folder, likewise
  friend bool operator==(const JobClaim&, const JobClaim&) = default;
};

// A sealed revision, as a ledger has it.
struct LedgerSeal {
  std::uint64_t index = 0;
  Sha256 identity;
  std::string job, controller;
  std::uint64_t base = 1, revision = 0, sequence = 1;
  UtcTime claimed;  // as the entry says
  friend bool operator==(const LedgerSeal&, const LedgerSeal&) = default;
};

// A parcel that was taken in, as a ledger has it.
struct LedgerParcel {
  std::uint64_t index = 0;
  Sha256 digest;
  std::string job;
  friend bool operator==(const LedgerParcel&, const LedgerParcel&) = default;
};

// Somebody besides the entries says that the first `size` of them existed at `time`.
struct LedgerWitness {
  std::uint64_t size = 0;
  Witness by = Witness::kHead;
  UtcTime time;
  friend auto operator<=>(const LedgerWitness&, const LedgerWitness&) = default;
};

struct LedgerClaim {
  Sha256 id;
  TreeHead head;
  std::uint64_t erased = 0;              // entries without details, on request
  std::vector<LedgerWitness> witnesses;  // heads and pins that hold, ascending
  std::vector<LedgerFinding> findings;
  std::vector<LedgerSeal> seals;
  std::vector<LedgerParcel> parcels;
  friend bool operator==(const LedgerClaim&, const LedgerClaim&) = default;
};

struct FileFacts {
  std::string path;
  std::uint64_t size = 0;  // bytes
  FileKind kind = FileKind::kUnknown;
  // Of a bundle that holds nothing: RevisionClaim::seal stands for all of its bytes. Else SHA-256 of the
  // file; nothing where it could not be read.
  std::optional<Sha256> digest;
  // Boxed: most files have none of these, and one of each is kept for every file of an archive.
  Boxed<Error> fault;      // why it does not hold; Error::file is empty
  Boxed<BundleHint> hint;  // bundles
  Boxed<RevisionClaim> revision;
  Proof proof = Proof::kNotAsked;
  Boxed<StatementClaim> statement;
  Boxed<JobClaim> job;
  Boxed<LedgerClaim> ledger;
  std::optional<Sha256> salt;  // of the 32 bytes of a job's salt
  // Whether the file begins with all that an earlier audit saw under this name; nothing where none did, or
  // where it is of a kind that does not grow.
  std::optional<bool> continues;
  friend bool operator==(const FileFacts&, const FileFacts&) = default;
};

// One line each, without line end, canonical JSON. A ledger's seals, parcels and findings stand in lines of
// their own.
std::vector<std::string> write_facts(const FileFacts& facts);

// The inverse, line by line: a line that belongs to the facts before it is added to them. kAuditRecord.
class FactsReader {
 public:
  explicit FactsReader(std::string name) : name_(std::move(name)) {}
  Status take(std::string_view line, std::vector<FileFacts>& facts) const;

 private:
  std::string name_;
};

}  // namespace calseal
