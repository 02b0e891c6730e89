// Digests of a read's locked spans, begun as soon as a signed manifest says where they lie: what follows
// until they are wanted leaves the second core idle.
#pragma once

#include <optional>
#include <vector>

#include "calseal/bundle/manifest.h"
#include "calseal/digest/digests_begun.h"
#include "calseal/image/image.h"
#include "calseal/map/read.h"

namespace calseal {

class LockedAhead {
 public:
  // Of an image, which stays as it is and where it is as long as this lives.
  LockedAhead(const ManifestController& claims, const Image& image);
  // Of files that are a memory of the manifest from end to end by name and size, whatever load_read() will
  // make of them. They are not moved before pause().
  LockedAhead(const ManifestController& claims, const std::vector<ReadFile>& files);
  LockedAhead(const ManifestController& claims, std::vector<ReadFile>&& files) = delete;

  void pause() { digests_.pause(); }
  // What load_read() has made of the files: where a file is no memory, its digests are forgotten.
  void loaded(const Read& read);
  // SHA-256 of a span in a memory that still holds what was begun with; nothing where it was not begun. Once
  // for each span, best in the manifest's order.
  std::optional<Sha256> digest(const NamedRange& place, ByteView bytes);

 private:
  struct Part {
    NamedRange place;
    std::size_t file = 0;  // into the files that it was begun with
    ByteView begun;        // bytes of the place where they stood then
  };
  struct Source {
    std::string memory;
    Range extent;
    ByteView bytes;
    std::size_t file = 0;
  };
  LockedAhead(const ManifestController& claims, const std::vector<Source>& sources);
  static std::vector<Source> sources_of(const Image& image);
  static std::vector<Source> sources_of(const ManifestController& claims, const std::vector<ReadFile>& files);
  static std::vector<Part> parts_of(const ManifestController& claims, const std::vector<Source>& sources);
  static std::vector<ByteView> views_of(const std::vector<Part>& parts);

  std::vector<Part> parts_;  // those that were begun
  std::vector<bool> forgotten_;
  std::size_t next_ = 0;  // the part to look at first
  DigestsBegun digests_;
};

}  // namespace calseal
