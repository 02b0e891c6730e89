// An image whose checksums hold, kept so through edits that are known: only bytes that changed are read.
//
// A CRC is affine over GF(2) and a sum is one modulo a power of two, so the value after an edit follows from
// the value before and the changed bytes alone (Crc::patch). Other algorithms, rules that need equations and
// checksums in a circle are computed anew, and only when an edit reaches them.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/digest/crc.h"
#include "calseal/image/image.h"
#include "calseal/map/correct.h"
#include "calseal/map/joint.h"
#include "calseal/map/plan.h"
#include "calseal/map/value.h"

namespace calseal {

// Bytes to be put at a place; as many as the place has.
struct Edit {
  Place place;
  Bytes bytes;
};

class CorrectedImage {
 public:
  // Corrects `image` as correct() does and keeps every checksum's value; its errors. The plan must outlive
  // this, and must not depend on bytes that are edited later (descriptor tables are locked).
  static Result<CorrectedImage> make(const Plan& plan, Image image);

  const Image& image() const { return image_; }
  const CorrectionReport& first_report() const { return first_report_; }

  // Puts the edits, in their order, and corrects what depends on them: the image is then what correct() makes
  // of it. Places lie inside their memories. Errors as correct(); the image is then as it was before. O(bytes
  // changed * checksums that read them * log size of the coverage).
  Result<CorrectionReport> edit(const std::vector<Edit>& edits);

 private:
  static constexpr std::size_t kEditor = static_cast<std::size_t>(-1);
  // Bytes that changed, step by step; kept in one piece, since edits are many and small.
  struct Changes {
    std::vector<Place> places;
    std::vector<std::size_t> node;  // who changed it, into Plan::nodes; kEditor
    std::vector<std::size_t> at;    // of each place's bytes in `before` and `after`
    Bytes before, after;
    std::vector<RangeSet> dirty;  // all places together, by memory
    std::size_t in_order = 0;     // places at the beginning that ascend and do not overlap

    void clear(std::size_t memories);  // keeps the room
    void add(std::size_t who, const Place& place, ByteView was, ByteView is);
    ByteView before_of(std::size_t i) const;
    ByteView after_of(std::size_t i) const;
  };
  // A run of a message that stands in memory as one piece.
  struct Run {
    std::size_t memory = 0;
    Range range;               // addresses
    std::uint64_t offset = 0;  // in the message
  };
  // What is kept for one node of the plan.
  struct Kept {
    bool patched = false;                               // value follows from changes; else computed anew
    std::vector<Run> runs;                              // by memory and address, disjoint
    CheckValue value;                                   // when patched
    std::optional<std::vector<std::uint64_t>> balance;  // addresses of the balance word, as read
    std::optional<JointSystem> system;                  // of a group's first node that needs equations
  };

  explicit CorrectedImage(const Plan& plan, Image image) : plan_(&plan), image_(std::move(image)) {}
  Kept keep(const PlanNode& node) const;
  bool reaches(const PlanNode& node) const;
  // Brings the kept value of a node up to the changes from `first` on.
  void patch(std::size_t index, std::size_t first);
  // What the balance must hold so that the rule does, given the value with what it holds now.
  Bytes balanced(const Kept& kept, const Checksum& checksum) const;
  // The group's derived bytes right again; changes of them are added.
  Status correct_one(const PlanGroup& group);
  void correct_patched(std::size_t index);
  void correct_copy(std::size_t index);
  Status correct_whole(const PlanGroup& group);
  void put(std::size_t who, const Place& place, ByteView bytes);
  void undo();

  const Plan* plan_;
  Image image_;
  std::vector<Kept> kept_;          // by node
  std::vector<bool> provable_;      // by group in the plan's order
  Changes changes_;                 // of the edit at hand; here, and the next two, for their room
  std::vector<CheckValue> values_;  // by node, before it
  std::vector<CrcChange> touched_;  // of the checksum at hand
  CorrectionReport first_report_;
};

}  // namespace calseal
