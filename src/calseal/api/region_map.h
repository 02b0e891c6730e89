// A region map: what of a controller's memories may change, and by which checksums it is judged.
#pragma once

#include <cstdint>
#include <memory>
#include <string>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"

namespace calseal {
struct RegionMap;
}

namespace calseal::api {

// A file as it was given. Nothing here reads or writes files.
struct File {
  std::string name;  // for messages
  Bytes bytes;
  std::string memory;  // of a read's file: the memory that it is of; empty: it tells by itself
};

// Parsed once; copies share it.
class Map {
 public:
  // Parses and lints; the first fault comes back with its place.
  static Result<Map> parse(const File& file);

  const std::string& name() const;
  std::uint64_t version() const;
  const std::string& controller() const;
  const std::string& grade() const;  // "draft" or "verified"
  const Sha256& digest() const;

  // For calseal itself.
  const RegionMap& inside() const { return *inside_; }

 private:
  explicit Map(std::shared_ptr<const RegionMap> inside) : inside_(std::move(inside)) {}
  std::shared_ptr<const RegionMap> inside_;
};

}  // namespace calseal::api
