#include "calseal/option/account.h"

#include <algorithm>
#include <array>

#include "calseal/base/text.h"
#include "calseal/map/items.h"
#include "calseal/option/resolve.h"

namespace calseal {
namespace {

// An option's edits by place, to look up who claims a byte.
struct Claims {
  const OptionFile* file = nullptr;
  std::vector<PlacedEdit> edits;

  // The edits that share bytes with `place`, as a range of `edits`.
  std::pair<std::size_t, std::size_t> overlapping(const Place& place) const {
    const auto first =
        std::upper_bound(edits.begin(), edits.end(), place, [](const Place& value, const PlacedEdit& edit) {
          return std::pair(value.memory, value.range.begin) <
                 std::pair(edit.place.memory, edit.place.range.end);
        });
    auto last = first;
    while (last != edits.end() && last->place.memory == place.memory &&
           last->place.range.begin < place.range.end)
      ++last;
    return {static_cast<std::size_t>(first - edits.begin()), static_cast<std::size_t>(last - edits.begin())};
  }
};

struct ActiveClaim {
  std::size_t option;
  const PlacedEdit* placed;
};

// What stands at one byte, by the claims that reach it.
struct ByteOrigin {
  Origin origin = Origin::kUnaccounted;
  std::vector<std::size_t> options;
  friend bool operator==(const ByteOrigin&, const ByteOrigin&) = default;
};

ByteOrigin origin_of(std::uint64_t at, std::uint8_t before, std::uint8_t after,
                     const std::vector<ActiveClaim>& active) {
  ByteOrigin put{Origin::kOption, {}};
  ByteOrigin taken{Origin::kTakenBack, {}};
  for (const ActiveClaim& claim : active) {
    if (!claim.placed->place.range.contains(at)) continue;
    const auto i = static_cast<std::size_t>(at - claim.placed->place.range.begin);
    const OptionEdit& edit = *claim.placed->edit;
    if (edit.after[i] == after) {
      put.options.push_back(claim.option);
    } else if (edit.before[i] == after && edit.after[i] == before) {
      taken.options.push_back(claim.option);
    }
  }
  if (!put.options.empty()) return put;
  if (!taken.options.empty()) return taken;
  return {};
}

class Accounting {
 public:
  Accounting(const Plan& plan, const Image& before, const Image& after, std::vector<Claims> claims)
      : plan_(plan), before_(before), after_(after), claims_(std::move(claims)) {}

  Account run() {
    for (const Claims& claims : claims_) account_.shares.push_back({claims.file->option.name, 0, 0, false});
    for (const ChangedRange& change : compare_images(plan_, before_, after_)) add(change);
    for (std::size_t i = 0; i < claims_.size(); ++i) account_.shares[i].missing = missing_of(claims_[i]);
    return std::move(account_);
  }

 private:
  void add(const ChangedRange& change) {
    const SpanKind kind = change.kind;
    if (kind == SpanKind::kDerived || kind == SpanKind::kFloating)
      return append(change, change.place.range, {Origin::kDerived, {}});
    if (kind == SpanKind::kVolatile || kind == SpanKind::kBinding)
      return append(change, change.place.range, {Origin::kVehicle, {}});
    std::vector<ActiveClaim> active;
    for (std::size_t i = 0; i < claims_.size(); ++i) {
      const auto [first, last] = claims_[i].overlapping(change.place);
      for (std::size_t k = first; k < last; ++k) active.push_back({i, &claims_[i].edits[k]});
    }
    const ByteView from = before_.memories[change.place.memory].view(change.place.range);
    const ByteView to = after_.memories[change.place.memory].view(change.place.range);
    Range run{change.place.range.begin, change.place.range.begin};
    ByteOrigin run_origin;
    for (std::size_t i = 0; i < from.size(); ++i) {
      const std::uint64_t at = change.place.range.begin + i;
      ByteOrigin here = origin_of(at, from[i], to[i], active);
      if (run.empty() || here == run_origin) {
        run.end = at + 1;
      } else {
        append(change, run, run_origin);
        run = {at, at + 1};
      }
      run_origin = std::move(here);
    }
    append(change, run, run_origin);
  }

  // One run, cut where an item begins or ends.
  void append(const ChangedRange& change, Range run, const ByteOrigin& origin) {
    while (!run.empty()) {
      const Item* item = item_at(*plan_.map, change.place.memory, run.begin);
      const auto next = std::ranges::lower_bound(
          plan_.map->items, Place{change.place.memory, {run.begin + 1, 0}}, {}, &Item::place);
      std::uint64_t end = run.end;
      if (item != nullptr) {
        end = std::min(end, item->place.range.end);
      } else if (next != plan_.map->items.end() && next->place.memory == change.place.memory) {
        end = std::min(end, next->place.range.begin);
      }
      AccountEntry entry;
      entry.place = {change.place.memory, {run.begin, end}};
      entry.origin = origin.origin;
      entry.region = change.region;
      if (item != nullptr) entry.item = item->name;
      for (const std::size_t option : origin.options) {
        entry.options.push_back(claims_[option].file->option.name);
        account_.shares[option].bytes += end - run.begin;
        if (origin.origin == Origin::kTakenBack) account_.shares[option].taken_back = true;
      }
      account_.entries.push_back(std::move(entry));
      run.begin = end;
    }
  }

  std::uint64_t missing_of(const Claims& claims) const {
    std::uint64_t missing = 0;
    for (const auto& [place, edit] : claims.edits) {
      const Memory& memory = after_.memories[place.memory];
      const ByteView bytes = memory.view(place.range);
      for (std::size_t i = 0; i < bytes.size(); ++i) {
        if (bytes[i] != edit->after[i] || !memory.known.contains(place.range.begin + i)) ++missing;
      }
    }
    return missing;
  }

  const Plan& plan_;
  const Image& before_;
  const Image& after_;
  std::vector<Claims> claims_;
  Account account_;
};

}  // namespace

std::string_view origin_name(Origin origin) {
  constexpr std::array<std::string_view, 5> kNames = {"option", "taken-back", "derived", "vehicle",
                                                      "unaccounted"};
  return kNames[static_cast<std::size_t>(origin)];
}

std::uint64_t Account::bytes(Origin origin) const {
  std::uint64_t total = 0;
  for (const AccountEntry& entry : entries) {
    if (entry.origin == origin) total += entry.place.range.size();
  }
  return total;
}

Result<Account> make_account(const Plan& plan, const Image& before, const Image& after,
                             const std::vector<OptionFile>& options) {
  std::vector<Claims> claims;
  for (const OptionFile& option : options) {
    CALSEAL_ASSIGN(std::vector<PlacedEdit> placed, place_edits(*plan.map, option));
    claims.push_back({&option, std::move(placed)});
  }
  std::ranges::stable_sort(claims, {}, [](const Claims& one) { return one.file->option.name; });
  return Accounting(plan, before, after, std::move(claims)).run();
}

std::vector<ManifestOption> describe_options(const std::vector<OptionFile>& options) {
  std::vector<ManifestOption> described;
  for (const OptionFile& file : options)
    described.push_back({file.option.name, file.option.title, file.digest});
  std::ranges::stable_sort(described, {}, &ManifestOption::name);
  return described;
}

void name_options(std::vector<Change>& changes, const RegionMap& map, const Account& account) {
  auto entry = account.entries.begin();
  for (Change& change : changes) {
    const std::size_t memory = map.memory_index(change.place.memory);
    const Range& range = change.place.range;
    while (entry != account.entries.end() &&
           (entry->place.memory < memory ||
            (entry->place.memory == memory && entry->place.range.end <= range.begin)))
      ++entry;
    std::vector<std::string> common;
    bool begun = false;
    for (auto it = entry;
         it != account.entries.end() && it->place.memory == memory && it->place.range.begin < range.end;
         ++it) {
      const std::vector<std::string> here =
          it->origin == Origin::kOption ? it->options : std::vector<std::string>();
      if (!begun) {
        common = here;
      } else {
        std::erase_if(common,
                      [&](const std::string& name) { return std::ranges::find(here, name) == here.end(); });
      }
      begun = true;
    }
    if (!common.empty()) change.option = common.front();
  }
}

}  // namespace calseal
