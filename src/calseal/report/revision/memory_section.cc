#include "calseal/report/revision/memory_section.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/map/items.h"
#include "calseal/report/html/memory_picture.h"
#include "calseal/report/html/parts.h"
#include "calseal/report/revision/item_pictures.h"
#include "calseal/report/revision/item_sides.h"

namespace calseal {
namespace {

constexpr std::size_t kMostRows = 24;     // ranges of bytes in one window
constexpr std::size_t kFewRows = 8;       // so few are shown at once
constexpr std::size_t kMostGroups = 100;  // rows of the table by region
constexpr std::size_t kMostExcerpt = 12;  // bytes of one side

std::vector<PictureMark> marks_in(const std::vector<PlacedChange>& changes, std::size_t memory,
                                  const Range& range) {
  std::vector<PictureMark> marks;
  for (const PlacedChange& change : changes) {
    if (change.memory != memory || !change.range.overlaps(range)) continue;
    marks.push_back({intersect(change.range, range), change.follows(), change.refused});
  }
  return marks;
}

std::uint64_t bytes_in(const std::vector<PlacedChange>& changes, std::size_t memory) {
  std::uint64_t bytes = 0;
  for (const PlacedChange& change : changes) bytes += change.memory == memory ? change.range.size() : 0;
  return bytes;
}

Html legend(const PictureGround& ground, const std::vector<PlacedChange>& changes) {
  Html pins = pin_legend(Pin::kChanged, "changed", "with a letter: shown from near below") +
              pin_legend(Pin::kCorrected, "corrected", "changed because something else did");
  if (std::ranges::any_of(changes, &PlacedChange::refused))
    pins += pin_legend(Pin::kRefused, "refused", "changed where a revision may not");
  return kinds_legend(ground, pins);
}

std::string hex_of(const Image& image, std::size_t memory, const Range& range) {
  if (!image.memories[memory].knows(range)) return {};
  return hex_excerpt(image.memories[memory].view(range), kMostExcerpt);
}

// Whether items name every changed byte of it; both ascend.
bool told_by_items(const RegionMap& map, const Window& window) {
  std::size_t at = 0;
  for (const PlacedChange& change : window.changes) {
    std::uint64_t told = 0;
    const std::pair begin(change.memory, change.range.begin);
    while (at < map.items.size() &&
           std::pair(map.items[at].place.memory, map.items[at].place.range.end) <= begin)
      ++at;
    for (std::size_t i = at; i < map.items.size() && map.items[i].place.memory == change.memory &&
                             map.items[i].place.range.begin < change.range.end;
         ++i)
      told += intersect(map.items[i].place.range, change.range).size();
    if (told < change.range.size()) return false;
  }
  return true;
}

// `on_paper`: printed although it is folded.
Html bytes_table(const Window& window, const Sides& sides, const std::string& lister, bool shown_open,
                 bool on_paper) {
  const bool options =
      std::ranges::any_of(window.changes, [](const PlacedChange& one) { return !one.option.empty(); });
  std::vector<TableColumn> columns = {{"address"}, {"bytes", true}, {"before"}, {"after"}};
  if (options) columns.push_back({"option"});
  Table table("changed bytes of " + window.letter, columns);
  for (std::size_t i = 0; i < window.changes.size() && i < kMostRows; ++i) {
    const PlacedChange& change = window.changes[i];
    const auto shown = [&](const Image& image) {
      const std::string hex = hex_of(image, change.memory, change.range);
      return hex.empty() ? element("span.quiet", "not known") : code(hex);
    };
    std::vector<Html> cells = {code(address_text(change.range.begin)), number(change.range.size()),
                               shown(sides.before), shown(sides.after)};
    if (options) cells.push_back(said(change.option));
    table.add(cells);
  }
  Html out = table.html();
  if (window.changes.size() > kMostRows)
    out += element("p.quiet", "and " + grouped(window.changes.size() - kMostRows) + " more ranges; " +
                                  lister + " lists them all");
  const Html title = element("summary", "Bytes", element("span.unseen", " of " + window.letter));
  if (shown_open) return element("details", {{"open", ""}}, title, out);
  return on_paper ? element("details.printed", title, out) : element("details", title, out);
}

Html window_html(const PictureGround& ground, const std::vector<PlacedChange>& changes, const Window& window,
                 const Sides& sides, bool claimed, std::size_t& budget) {
  MemoryPicture picture;
  picture.extent = window.range;
  picture.pieces = pieces_in(ground, window.memory, window.range);
  picture.marks = marks_in(window.changes, window.memory, window.range);
  picture.boxes_apart = true;
  std::size_t at = 0;
  for (const Item& item : ground.map->items) {
    if (item.place.memory != window.memory || !item.place.range.overlaps(window.range)) continue;
    while (at < window.changes.size() && window.changes[at].range.end <= item.place.range.begin) ++at;
    const bool changed = at < window.changes.size() && window.changes[at].range.overlaps(item.place.range);
    picture.boxes.push_back({intersect(item.place.range, window.range), item.name, changed});
  }
  const std::string& memory = ground.map->memories[window.memory].name;
  const std::string ranges =
      window.changes.size() == 1 ? "1 place" : grouped(window.changes.size()) + " places";
  picture.spoken = "Place " + window.letter + ": " + memory + " " + range_text(window.range) + ", " +
                   bytes_text(window.bytes) + " " + changed_words(claimed) + " in " + ranges;
  const bool whole = window.range == window.region_range;
  Html title = element("h3", element("span.letter", window.letter), " ",
                       window.region.empty() ? Html("outside every region") : said(window.region));
  title += element("p.quiet", said(memory), " ", code(range_text(window.range)), ", ",
                   size_words(window.range.size()),
                   whole ? Html() : Html(" of the region's " + size_words(window.region_range.size())), ": ",
                   element("strong", bytes_text(window.bytes)), " ", changed_words(claimed), " in " + ranges);
  for (const PermittedPatch& patch : ground.map->patches) {
    if (patch.place.memory == window.memory && patch.place.range.overlaps(window.range))
      title += element("p.quiet", "permitted patch ", element("strong", said(patch.name)),
                       patch.note.empty() ? Html() : ": " + said(patch.note));
  }
  const Html items = item_pictures(*ground.map, changes, window, sides, claimed, budget);
  // Where no item tells what changed, the bytes must.
  const bool bytes_open = items.empty() && window.changes.size() <= kFewRows;
  return element("article.place", title, memory_picture(picture), items,
                 bytes_table(window, sides, ground.lister, bytes_open, !told_by_items(*ground.map, window)));
}

}  // namespace

Html memories_section(const PictureGround& ground, const std::vector<PlacedChange>& changes,
                      const Windows& windows, bool claimed) {
  const RegionMap& map = *ground.map;
  Html out;
  for (std::size_t m = 0; m < map.memories.size(); ++m) {
    MemoryPicture picture = memory_on(ground, m);
    picture.marks = marks_in(changes, m, picture.extent);
    std::string letters;
    for (const Window& window : windows.shown) {
      if (window.memory != m) continue;
      const Range hull{window.changes.front().range.begin, window.changes.back().range.end};
      picture.flags.push_back({hull.begin + hull.size() / 2, window.letter});
      letters += (letters.empty() ? "" : ", ") + window.letter;
    }
    const std::uint64_t bytes = bytes_in(changes, m);
    const std::string words =
        (bytes == 0 ? "nothing" : bytes_text(bytes)) + std::string(" ") + changed_words(claimed);
    picture.spoken = "Memory " + map.memories[m].name + ", " + size_words(picture.extent.size()) + ": " +
                     words + (letters.empty() ? "" : "; places " + letters);
    out += element("h3", said(map.memories[m].name),
                   element("span.quiet", ", " + size_words(picture.extent.size()) + ", " + words));
    out += memory_picture(picture);
  }
  return section(
      "Memory",
      std::string(claimed ? "To scale, with the changes that the bundle claims. " : "To scale. ") +
          "Every byte belongs to one kind; the pattern says which. A stroke below a strip is a piece "
          "too small to draw.",
      out + legend(ground, changes));
}

Html places_section(const PictureGround& ground, const std::vector<PlacedChange>& changes,
                    const Windows& windows, const Sides& sides, bool claimed) {
  if (windows.shown.empty()) return {};
  Html out;
  std::size_t budget = kMostItemsDrawn;
  for (const Window& window : windows.shown)
    out += window_html(ground, changes, window, sides, claimed, budget);
  if (windows.left_out > 0)
    out += element("p.quiet",
                   "and " + grouped(windows.left_out) + " more places, counted in the table by region");
  return section("From near",
                 std::string("Each lettered place at a scale of its own, with the calibration items in it") +
                     (claimed ? ", if the bundle is what it says." : "."),
                 out);
}

Html changes_section(const PictureGround& ground, const std::vector<PlacedChange>& changes, bool claimed) {
  struct Group {
    const PlacedChange* first = nullptr;
    std::uint64_t ranges = 0, bytes = 0;
  };
  std::vector<Group> groups;
  for (const PlacedChange& change : changes) {
    const bool same = !groups.empty() && groups.back().first->memory == change.memory &&
                      groups.back().first->region == change.region &&
                      groups.back().first->option == change.option &&
                      groups.back().first->kind == change.kind;
    if (!same) groups.push_back({&change, 0, 0});
    ++groups.back().ranges;
    groups.back().bytes += change.range.size();
  }
  if (groups.empty()) return {};
  Table table("changes by region and option",
              {{"region"}, {"memory"}, {"kind"}, {"bytes", true}, {"ranges", true}, {"option"}});
  for (std::size_t i = 0; i < groups.size() && i < kMostGroups; ++i) {
    const Group& group = groups[i];
    table.add({group.first->region.empty() ? element("span.quiet", "no region") : said(group.first->region),
               said(ground.map->memories[group.first->memory].name), kind_key(group.first->kind),
               number(group.bytes), number(group.ranges),
               group.first->option.empty() ? element("span.quiet", "none") : said(group.first->option)});
  }
  Html out = table.html();
  if (groups.size() > kMostGroups)
    out += element("p.quiet", "and " + grouped(groups.size() - kMostGroups) + " more rows; " + ground.lister +
                                  " has them");
  return section("By region",
                 claimed ? "Everything that the bundle claims to differ from the base, corrections included."
                         : "Everything that differs from the base, corrections included.",
                 out);
}

}  // namespace calseal
