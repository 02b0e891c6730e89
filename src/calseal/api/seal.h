// Sealing: a revision proved, described, signed, and checked by the checker itself before it is handed out.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/api/region_map.h"

namespace calseal {
class PrivateKey;
}

namespace calseal::api {

// A private key of the shop, in memory; wiped when the last copy goes.
class SigningKey {
 public:
  // From its encrypted PEM file.
  static Result<SigningKey> open(const File& pem, std::string_view passphrase);

  // For calseal itself.
  const PrivateKey& inside() const { return *inside_; }

 private:
  explicit SigningKey(std::shared_ptr<const PrivateKey> inside) : inside_(std::move(inside)) {}
  std::shared_ptr<const PrivateKey> inside_;
};

struct Shop {
  File trust;                    // the shop's own trust file
  std::vector<SigningKey> keys;  // that sign
  std::string tool;              // name and version of the program that seals; stated in the manifest
  std::string claimed_time;      // like 2026-01-31T12:00:00Z; empty: now
};

// What a person says of a revision.
struct Words {
  std::string title, notes;
  std::vector<std::string> requirements, cautions;  // lines
  std::string expires;                              // time; a trial when not empty
};

struct Sealed {
  Bytes bundle;
  Sha256 identity;
  std::uint64_t revision = 0, sequence = 1;
  std::uint64_t changed_bytes = 0;  // against the base, all within the areas that the map declares
  bool incomplete = false;          // required signatures are missing
};

// Revision 0, the way back: the first read of a job. `salt`: the job's salt file.
struct BaseRequest {
  Map map;
  std::vector<File> read;
  std::string job, vehicle_reference;
  std::optional<File> salt;
  Words words;
};
Result<Sealed> seal(const BaseRequest& request, const Shop& shop);

// A later revision: an edited image on the base.
struct RevisionRequest {
  File base;                   // the bundle of revision 0
  std::optional<File> parent;  // the bundle that this one follows; nothing: the base
  std::vector<File> edited;
  bool correct = true;  // checksums and copies of the edited image first
  std::optional<File> salt;
  Words words;
};
Result<Sealed> seal(const RevisionRequest& request, const Shop& shop);

}  // namespace calseal::api
