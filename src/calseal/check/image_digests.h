// SHA-256 of places of one image: each is hashed once, and those that are asked for together at once.
#pragma once

#include <functional>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "calseal/bundle/manifest.h"
#include "calseal/digest/sha256.h"
#include "calseal/image/image.h"

namespace calseal {

// The image must outlive this and stay as it is.
class ImageDigests {
 public:
  explicit ImageDigests(const Image& image) : image_(&image) {}

  // In the order of `places`, each a range of one memory.
  std::vector<Sha256> of_each(const std::vector<NamedRange>& places);
  // One for each span, nothing where it is not `asked` for. Whether the image knows the bytes is for `asked`
  // to say.
  std::vector<std::optional<Sha256>> of_spans(const std::vector<ManifestSpan>& spans,
                                              const std::function<bool(const ManifestSpan&)>& asked);

 private:
  const Image* image_;
  std::map<std::pair<std::string, Range>, Sha256> known_;
};

}  // namespace calseal
