// A small parcel, put together piece by piece so that any piece can be bent. The customer's key is of
// value 7.
#pragma once

#include <algorithm>
#include <string>
#include <vector>

#include "calseal/bundle/pack.h"
#include "calseal/parcel/parcel.h"
#include "support/test_keys.h"

namespace calseal {

inline void must_hold(bool holds) {
  if (!holds) std::abort();
}

struct ParcelSample {
  Parcel parcel;
  std::vector<Bytes> stored;  // of each entry

  // As an entry is packed; also over one that is there.
  void put(std::size_t index, const Bytes& content, Packing packing = Packing::kSmallest) {
    const std::size_t reads = parcel.reads.size();
    const std::string name = index < reads ? read_entry_name(index) : log_entry_name(index - reads);
    Result<PackedEntry> packed = pack_entry(name, content, packing);
    must_hold(packed.has_value());
    parcel.entries.resize(std::max(parcel.entries.size(), index + 1));
    stored.resize(parcel.entries.size());
    parcel.entries[index] = packed->entry;
    stored[index] = packed->stored;
  }
};

inline ParcelSample sample_parcel() {
  ParcelSample sample;
  Parcel& parcel = sample.parcel;
  parcel.key = TestKey(7).public_key();
  parcel.number = 3;
  parcel.claimed_time = "2026-03-04T05:06:07Z";
  parcel.root = TestKey(1).id();
  parcel.sheet = compute_sha256(view_of("a sheet"));
  parcel.job = "oak-17";
  parcel.vehicle_reference = "blue estate";
  parcel.words = "It pulls to the left.\nOnly when cold.";
  parcel.order = {"shift-light", "towing"};
  parcel.answers = {{"fuel", "e10"}, {"mass", "1450"}};
  parcel.accepted = {"The lamp draws from the controller's own supply."};
  parcel.reads = {{"reads/1.bin", "engine", "flash", 1, "flash.bin"},
                  {"reads/2.bin", "engine", "flash", 2, "flash again.bin"}};
  parcel.logs = {{"logs/1.log", compute_sha256(view_of("a manifest")), "drive.csv"}};
  parcel.findings = {{"reads/2.bin", "cut-off"}, {"reads/2.bin", "differs"}};
  parcel.tool = "tests";
  sample.put(0, Bytes(2048, 'f'));
  sample.put(1, {1, 2, 3, 4, 5, 6, 7}, Packing::kStored);
  sample.put(2, {'t', 'i', 'm', 'e', '\n'});
  return sample;
}

inline Bytes assemble_text(const ParcelSample& sample, const std::string& text, std::uint8_t key = 7) {
  const std::vector<ByteView> stored(sample.stored.begin(), sample.stored.end());
  Result<Bytes> file = write_framed(kParcelPrefix, {view_of(text), {TestKey(key).sign(view_of(text))}},
                                    sample.parcel.entries, stored);
  must_hold(file.has_value());
  return *std::move(file);
}

inline Bytes assemble(const ParcelSample& sample) {
  return assemble_text(sample, write_parcel_text(sample.parcel));
}

}  // namespace calseal
