// The proof of docs/proof.md: from a bundle and a read to the result, in the steps "match" to "checksums".
// What is proved rests on bytes and region map; claims of the manifest are compared.
#pragma once

#include <memory>
#include <optional>
#include <utility>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/check/match.h"
#include "calseal/check/open.h"
#include "calseal/check/verdict.h"
#include "calseal/image/image.h"
#include "calseal/map/read.h"

namespace calseal {

// Where the read comes from, which decides what is asked of the vehicle and in what words.
enum class ReadOrigin : std::uint8_t {
  kVehicle,  // somebody's controller
  kWayBack,  // the payload of the very revision 0: reviving
  kArchive,  // the base out of an archive: no vehicle is at hand, so binding fields are compared where a salt
             // is
};

// Proves `opened` on `read`, which knows meanwhile no more than the base did, and gives the result: the image
// that may be written. Fills vehicle, editable share, bytes to change and cautions of `verdict`, and its
// steps from "match" on. `digests`: of `read`, kept between several revisions that are proved on it; nullptr:
// its own.
Result<Image> prove(const OpenedBundle& opened, Image& read, const MatchEvidence& evidence, ReadOrigin origin,
                    Verdict& verdict, ImageDigests* digests = nullptr);

// The same for a read that came in files: `verdict.files` are the result in their form.
Status rebuild(const OpenedBundle& opened, Read& read, const MatchEvidence& evidence, Verdict& verdict);

// Fills in the digests of files that were made.
void digest_files(std::vector<RebuiltFile>& files);

// Many revisions proved on one base, whose spans are hashed once.
class BaseProof {
 public:
  // `image`: what the payload of the base's revision 0 carries, under `map`, which may be a newer region map
  // than its own.
  BaseProof(RegionMap map, Image image);

  const Sha256& map_digest() const { return base_->map.digest; }

  // All steps, with the base as the read, declared fresh. No file is made. `opened.map` must have this
  // proof's map digest.
  Status prove(const OpenedBundle& opened, const std::optional<Bytes>& salt);

 private:
  struct Base {
    Base(RegionMap of, Image bytes) : map(std::move(of)), image(std::move(bytes)), digests(image) {}
    RegionMap map;
    Image image;
    ImageDigests digests;  // of `image`, which therefore stays where it is
  };
  std::unique_ptr<Base> base_;
};

}  // namespace calseal
