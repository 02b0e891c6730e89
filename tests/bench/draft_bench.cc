// How many checksums of 50 invented controllers are found, and how many finds are wrong: by descriptor
// tables, by computation, from one image and from two and three of one family. Prints the Markdown table of
// docs/measurements.md. With
// --time: a 4 MiB image over a 4 KiB grid, the whole catalogue.
//
// With --starts: init and xorout of every CRC drawn too; from two, three and four images.
//
// With --chance: what is found when every checksum is made wrong.
//
// usage: draft_bench [FIRST_SEED [CONTROLLERS]] | draft_bench --starts [FIRST_SEED [CONTROLLERS]] |
// draft_bench --chance [FIRST_SEED [CONTROLLERS]] | draft_bench --time
#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <string>

#include "calseal/base/text.h"
#include "calseal/study/checksum_search.h"
#include "calseal/study/edges.h"
#include "draft_controllers.h"

namespace {

using namespace calseal;
using namespace draft_bench;

struct Tally {
  std::size_t truths = 0, right = 0, found = 0;
  std::size_t open = 0, open_truths = 0;  // right as stated, with an end left open: finds, declared
  std::size_t decidable[2][2] = {};       // not, yes: declared, found
  std::size_t by_width[3][2] = {};        // 16, 32, 64 bits: declared, found
};

// A find is right when it gives what the truth gives whatever the bytes are. As it is stated: it may leave
// open where in unused space its coverage ends; then whatever the bytes before and after that space are.
bool agrees(const Truth& truth, const Candidate& found, bool as_stated, const Bytes& image, Draw& draw) {
  const Hit& hit = found.hit;
  const Range slot{truth.slot, truth.slot + truth.size() * (truth.twin ? 2 : 1)};
  const Range open = as_stated ? Range{found.least_end, hit.coverage.end} : Range{0, 0};
  if (as_stated && (truth.coverage.end < open.begin || truth.coverage.end > open.end)) return false;
  if (hit.has_slot()) {
    if (hit.slot_range() != slot) return false;
  } else {
    // A rule over all that the truth is about says the same, though not where its slot is.
    Range hull = truth.coverage;
    if (slot.begin <= hull.end && hull.begin <= slot.end)
      hull = {std::min(hull.begin, slot.begin), std::max(hull.end, slot.end)};
    if (hit.coverage.begin != hull.begin || (!as_stated && hit.coverage.end != hull.end)) return false;
  }
  for (int round = 0; round < 4; ++round) {
    Bytes other = image;
    const auto touch = [&](std::uint64_t at) {
      if (at < other.size() && !slot.contains(at) && !open.contains(at))
        other[static_cast<std::size_t>(at)] ^= static_cast<std::uint8_t>(draw.between(1, 255));
    };
    for (const Range& range : {truth.coverage, hit.coverage}) {
      for (const std::uint64_t at :
           {range.begin - 1, range.begin, range.begin + 1, range.end - 2, range.end - 1, range.end})
        touch(at);
      for (int i = 0; i < 8; ++i) touch(draw.between(range.begin, range.end - 1));
    }
    put_right(truth, other);
    SearchAlgorithm algorithm = search_algorithms()[hit.algorithm];
    algorithm.algorithm = found.algorithm();
    const RangeValues values(algorithm, other, {4096, other.size()});
    if (!holds_in(values, other, hit)) return false;
  }
  return true;
}

// What information allows when every range of the grid is as likely as any other. A search over all ranges,
// the algorithms of that width, layouts and storages, and the image's words for a slot anywhere, makes so
// many hypotheses; each agrees by chance with probability 2^-bits. When more than one is expected to, nothing
// inside the image can single this checksum out by itself. In a table the ranges are its records, a handful.
// Edges that show make some ranges likelier, so that a few are found beyond this count.
struct Bits {
  double convention = 0, range = 0, agree = 0;  // bits: to name, and that agree
};

Bits bits_of(const Truth& truth, std::size_t size, std::size_t images) {
  const double points = static_cast<double>(size) / static_cast<double>(kSearchGrid);
  const bool beside = truth.coverage.begin <= truth.slot + 32 && truth.slot <= truth.coverage.end + 32;
  double conventions = 0;
  for (const SearchAlgorithm& one : search_algorithms()) {
    if (one.bits != truth.method.width || one.by_difference) continue;
    const std::size_t layouts = truth.in_table ? 12
                                : truth.rule || !beside
                                    ? 1
                                    : layouts_of(one.size, Layout::Anchor::kEnd).size() +
                                          layouts_of(one.size, Layout::Anchor::kStart).size();
    conventions += static_cast<double>(layouts * (truth.rule ? 1 : storages_of(one).size()));
  }
  Bits bits;
  bits.convention = std::log2(conventions);
  bits.range = truth.in_table ? 3 : std::log2(points * points / 2);
  if (!truth.in_table && !truth.rule && !beside) bits.range += std::log2(static_cast<double>(size) / 4);
  bits.agree = truth.method.width * static_cast<double>(images) * (truth.twin ? 2 : 1);
  return bits;
}

// Whether two checksums share a convention: then it has to be named only once for both.
bool is_alike(const Truth& a, const Truth& b) {
  const auto place = [](const Truth& t) -> std::pair<int, std::uint64_t> {
    if (t.rule) return {3, 0};
    if (t.in_table) return {4, 0};
    if (t.slot + 32 >= t.coverage.end && t.slot <= t.coverage.end + 32)
      return {0, t.coverage.end + 32 - t.slot};
    if (t.slot + 32 >= t.coverage.begin && t.slot <= t.coverage.begin + 32)
      return {1, t.coverage.begin + 32 - t.slot};
    return {2, 0};
  };
  return a.method.name == b.method.name && a.big == b.big && a.complement == b.complement && a.own == b.own &&
         a.twin == b.twin && place(a) == place(b);
}

// Whether it can be told from chance by itself, or together with others of its convention.
bool is_decidable(const Controller& controller, const Truth& truth, std::size_t images) {
  const std::size_t size = controller.images.front().size();
  const Bits own = bits_of(truth, size, images);
  double spare = -own.convention;
  for (const Truth& other : controller.truths) {
    if (!is_alike(truth, other)) continue;
    const Bits bits = bits_of(other, size, images);
    spare += std::max(0.0, bits.agree - bits.range);
  }
  return own.agree > own.range && spare > 0;
}

std::string words_of(const Candidate& found) {
  const Hit& hit = found.hit;
  std::string text = found.algorithm().name + " over " + range_text(hit.coverage);
  text += hit.has_slot() ? " at " + address_text(hit.slot) : " = " + hex_number(hit.equals);
  return text + (hit.storage.order == ByteOrder::kBig ? " be" : " le") + " t" +
         std::to_string(static_cast<int>(hit.storage.transform)) + (hit.from_table ? " table" : "") +
         " anchor " + std::to_string(static_cast<int>(hit.layout.anchor)) + " own " +
         std::to_string(static_cast<int>(hit.layout.own));
}

// Why a checksum is missed: what it costs to describe by itself, part by part, and what that leaves of its
// bits.
std::string reason_of(const Truth& truth, const std::vector<Bytes>& images, std::size_t used) {
  const ByteView image = images.front();
  const Grid grid{kSearchGrid, image.size()};
  const Edges edges(image, grid);
  const HitEvidence evidence(image);
  Range hull = truth.coverage;
  const Range slot{truth.slot, truth.slot + truth.size() * (truth.twin ? 2 : 1)};
  if (slot.begin <= hull.end && hull.begin <= slot.end)
    hull = {std::min(hull.begin, slot.begin), std::max(hull.end, slot.end)};
  const std::uint64_t begin = hull.begin / grid.step * grid.step;
  const std::uint64_t end =
      std::min<std::uint64_t>((hull.end + grid.step - 1) / grid.step * grid.step, grid.size);
  std::string best = "no layout of the search has it";
  double least = 1e9;
  for (std::size_t a = 0; a < search_algorithms().size(); ++a) {
    const SearchAlgorithm& algorithm = search_algorithms()[a];
    if (algorithm.bits != truth.method.width ||
        (algorithm.algorithm.kind == AlgorithmKind::kCrc) != truth.method.crc ||
        (truth.method.crc ? algorithm.catalogue != truth.method.name
                          : algorithm.algorithm.sum.unit != 8 * truth.method.unit))
      continue;
    std::vector<RangeValues> values;
    for (std::size_t k = 0; k < used; ++k) values.emplace_back(algorithm, images[k], grid);
    for (const Layout::Anchor anchor :
         {Layout::Anchor::kEnd, Layout::Anchor::kStart, Layout::Anchor::kFree, Layout::Anchor::kRule}) {
      for (const Layout& layout : layouts_of(algorithm.size, anchor)) {
        for (const Storage& storage : storages_of(algorithm)) {
          Hit hit;
          hit.algorithm = a;
          hit.layout = layout;
          hit.storage = storage;
          hit.range = {begin, end};
          hit.coverage = {begin + layout.skip_begin, end - layout.skip_end};
          hit.slot = anchor == Layout::Anchor::kFree    ? truth.slot
                     : anchor == Layout::Anchor::kStart ? begin + static_cast<std::uint64_t>(layout.slot)
                     : anchor == Layout::Anchor::kEnd   ? end + static_cast<std::uint64_t>(layout.slot)
                                                        : 0;
          if (anchor == Layout::Anchor::kRule && !truth.rule) continue;
          if (anchor == Layout::Anchor::kRule) hit.equals = truth.equals;
          if (anchor != Layout::Anchor::kRule && (hit.slot_range() != slot || hit.slot + 8 > image.size()))
            continue;
          if (anchor == Layout::Anchor::kFree && hit.coverage != truth.coverage) continue;
          bool holds = true;
          for (std::size_t k = 0; k < used; ++k) holds = holds && holds_in(values[k], images[k], hit);
          if (!holds) continue;
          const std::uint64_t stored =
              hit.has_slot()
                  ? stored_at(image, hit.slot, algorithm, {storage.order, SlotTransform::kPlain}).value
                  : 0;
          const double bits = evidence.of(algorithm, hit, stored) * static_cast<double>(used);
          const std::size_t i = begin / grid.step, j = (end + grid.step - 1) / grid.step;
          const double cost =
              edges.range_cost(i, j) + layout_cost(layout, algorithm.size) + storage_cost(storage) +
              algorithm.cost + 1.5 +
              (anchor == Layout::Anchor::kFree ? std::log2(static_cast<double>(image.size()) / 4) + 1 : 0);
          if (cost - bits >= least) continue;
          least = cost - bits;
          char text[200];
          std::snprintf(text, sizeof text,
                        "%.1f bits, alone %.1f: begin %.1f, end %.1f, layout %.1f, storage %.1f, "
                        "algorithm %.1f, anchor %d",
                        bits, bits - cost, edges.begin_cost(i), edges.end_cost(i, j),
                        layout_cost(layout, algorithm.size), storage_cost(storage), algorithm.cost,
                        static_cast<int>(anchor));
          best = text;
        }
      }
    }
  }
  return best;
}

void judge(const Controller& controller, const SearchOutcome& outcome, bool tables_only, bool computed_only,
           std::size_t images, std::uint64_t seed, bool verbose, Tally& tally) {
  Draw draw(seed * 7919 + 1);
  std::vector<bool> hit(controller.truths.size(), false), open(controller.truths.size(), false);
  for (const Candidate& found : outcome.found) {
    const auto explains = [&](bool as_stated, std::vector<bool>& marked) {
      for (std::size_t t = 0; t < controller.truths.size(); ++t) {
        if (!agrees(controller.truths[t], found, as_stated, controller.images.front(), draw)) continue;
        marked[t] = true;
        return true;
      }
      return false;
    };
    const bool right = explains(false, hit);
    const bool stated = !right && explains(true, open);
    ++tally.found;
    tally.right += right ? 1 : 0;
    tally.open += stated ? 1 : 0;
    if (verbose)
      std::printf("  seed %llu %s %s, worth %.1f, evidence %.1f\n", static_cast<unsigned long long>(seed),
                  right    ? "RIGHT"
                  : stated ? "OPEN"
                           : "WRONG",
                  words_of(found).c_str(), found.worth, found.hit.evidence);
  }
  for (const Candidate& found : outcome.uncertain) {
    const bool right = std::any_of(
        controller.truths.begin(), controller.truths.end(),
        [&](const Truth& truth) { return agrees(truth, found, false, controller.images.front(), draw); });
    if (verbose)
      std::printf("  seed %llu UNCERTAIN %s %s, worth %.1f, evidence %.1f\n",
                  static_cast<unsigned long long>(seed), right ? "right" : "wrong", words_of(found).c_str(),
                  found.worth, found.hit.evidence);
  }
  for (std::size_t t = 0; t < controller.truths.size(); ++t) {
    const Truth& truth = controller.truths[t];
    if (tables_only && !truth.in_table) continue;
    if (computed_only && truth.in_table) continue;
    ++tally.truths;
    const std::size_t width = truth.method.width == 16 ? 0 : truth.method.width == 32 ? 1 : 2;
    ++tally.by_width[width][0];
    tally.by_width[width][1] += hit[t] ? 1 : 0;
    const std::size_t decidable = is_decidable(controller, truth, images) ? 1 : 0;
    ++tally.decidable[decidable][0];
    tally.decidable[decidable][1] += hit[t] ? 1 : 0;
    tally.open_truths += !hit[t] && open[t] ? 1 : 0;
    if (!hit[t] && verbose) {
      std::printf("  seed %llu MISSED %s over %s at %s %s%s%s%s%s, image %s\n",
                  static_cast<unsigned long long>(seed), truth.method.name.c_str(),
                  range_text(truth.coverage).c_str(), address_text(truth.slot).c_str(),
                  truth.big ? "be" : "le", truth.rule ? " rule" : "", truth.complement ? " complement" : "",
                  truth.twin ? " twin" : "", truth.in_table ? " table" : "",
                  hex_number(controller.images.front().size()).c_str());
      if (!truth.in_table) std::printf("      %s\n", reason_of(truth, controller.images, images).c_str());
    }
  }
}

double percent(std::size_t part, std::size_t whole) {
  return 100.0 * static_cast<double>(part) / static_cast<double>(std::max<std::size_t>(whole, 1));
}

void print(const char* name, const Tally& tally) {
  const std::size_t hits = tally.by_width[0][1] + tally.by_width[1][1] + tally.by_width[2][1];
  std::printf("| %s | %zu | %zu | %.1f %% | %zu | %zu | %.1f %% | %zu/%zu | %zu/%zu | %zu/%zu |\n", name,
              tally.truths, hits, percent(hits, tally.truths), tally.found, tally.found - tally.right,
              percent(tally.right, tally.found), tally.by_width[0][1], tally.by_width[0][0],
              tally.by_width[1][1], tally.by_width[1][0], tally.by_width[2][1], tally.by_width[2][0]);
}

void print_allowed(const char* name, const Tally& tally) {
  const std::size_t hits = tally.by_width[0][1] + tally.by_width[1][1] + tally.by_width[2][1];
  std::printf("| %s | %zu/%zu | %.1f %% | %zu/%zu | %zu | %.1f %% | %.1f %% |\n", name, tally.decidable[1][1],
              tally.decidable[1][0], percent(tally.decidable[1][1], tally.decidable[1][0]),
              tally.decidable[0][1], tally.decidable[0][0], tally.open,
              percent(hits + tally.open_truths, tally.truths),
              percent(tally.right + tally.open, tally.found));
}

// The same controllers with every byte of every slot changed: whatever is found now is chance, and seldom
// enough.
int count_chance(std::uint64_t first, std::uint64_t count) {
  for (std::size_t images = 1; images <= 2; ++images) {
    std::size_t found = 0;
    for (std::uint64_t seed = first; seed < first + count; ++seed) {
      Controller controller = draw_controller(seed, 2);
      Draw draw(seed * 104729 + 7);
      for (Bytes& image : controller.images) {
        for (const Truth& truth : controller.truths) {
          for (std::uint64_t i = 0; i < truth.size() * (truth.twin ? 2 : 1); ++i)
            image[static_cast<std::size_t>(truth.slot + i)] ^=
                static_cast<std::uint8_t>(draw.between(1, 255));
        }
      }
      ChecksumSearch search;
      for (std::size_t k = 0; k < images; ++k) search.images.push_back(controller.images[k]);
      const SearchOutcome outcome = search_checksums(search);
      found += outcome.found.size();
      for (const Candidate& one : outcome.found)
        std::printf("  seed %llu, %zu images: %s, worth %.1f\n", static_cast<unsigned long long>(seed),
                    images, words_of(one).c_str(), one.worth);
      std::fflush(stdout);
    }
    std::printf(
        "%llu controllers without a right checksum, %zu images each: %zu found by chance, at most %.1f "
        "expected\n",
        static_cast<unsigned long long>(count), images, found,
        static_cast<double>(count) * std::exp2(-kSearchNeeded));
  }
  return 0;
}

void print_head() {
  std::printf(
      "| search | declared | found | recall | finds | wrong | precision | 16 bits | 32 bits | 64 bits |\n"
      "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |\n");
}

int count_starts(std::uint64_t first, std::uint64_t count, bool verbose) {
  std::vector<Tally> tallies(3);
  for (std::uint64_t seed = first; seed < first + count; ++seed) {
    const Controller controller = draw_controller(seed, 4, true);
    for (std::size_t images = 2; images <= 4; ++images) {
      ChecksumSearch search;
      for (std::size_t k = 0; k < images; ++k) search.images.push_back(controller.images[k]);
      if (verbose) std::printf("%zu images\n", images);
      judge(controller, search_checksums(search), false, false, images, seed, verbose, tallies[images - 2]);
    }
    std::fflush(stdout);
  }
  print_head();
  const char* const names[] = {"two images of one family", "three images", "four images"};
  for (std::size_t i = 0; i < tallies.size(); ++i) print(names[i], tallies[i]);
  return 0;
}

int time_one() {
  Draw draw(4);
  Bytes image(std::size_t{4} << 20, 0xff);
  for (std::uint64_t at = 0; at < image.size(); at += 0x40000) {
    const std::uint64_t end = at + draw.between(0x20000, 0x40000);
    fill_part(image, {at, end}, static_cast<int>(draw.between(0, 3)), draw);
  }
  Truth truth;
  for (const calseal::CatalogueEntry& entry : crc_catalogue()) {
    if (entry.name == "CRC-32/ISO-HDLC")
      truth.method = {true, "",   32, entry.poly.low, entry.init.low, entry.xorout.low,
                      true, true, 1,  false,          false};
  }
  truth.coverage = {0x40000, 0x7fffc};
  truth.slot = 0x7fffc;
  put_right(truth, image);
  ChecksumSearch search;
  search.images = {image};
  const auto begin = std::chrono::steady_clock::now();
  const SearchOutcome outcome = search_checksums(search);
  const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
  std::printf(
      "4 MiB, 4 KiB grid: %.2f s, %zu of %zu algorithms, %llu agreements, %zu found, %zu tables used\n",
      seconds, outcome.algorithms_tried, outcome.algorithms,
      static_cast<unsigned long long>(outcome.agreements), outcome.found.size(), outcome.tables.size());
  for (const Candidate& found : outcome.found)
    std::printf("  %s, worth %.1f\n", words_of(found).c_str(), found.worth);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc > 1 && std::string(argv[1]) == "--time") return time_one();
  if (argc > 1 && std::string(argv[1]) == "--chance")
    return count_chance(argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 1,
                        argc > 3 ? std::strtoull(argv[3], nullptr, 10) : 50);
  if (argc > 1 && std::string(argv[1]) == "--starts")
    return count_starts(argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 1,
                        argc > 3 ? std::strtoull(argv[3], nullptr, 10) : 50,
                        std::getenv("DRAFT_BENCH_VERBOSE") != nullptr);
  const std::uint64_t first = argc > 1 ? std::strtoull(argv[1], nullptr, 10) : 1;
  const std::uint64_t count = argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 50;
  const bool verbose = std::getenv("DRAFT_BENCH_VERBOSE") != nullptr;
  Tally tables, computed, both, family, three;
  std::size_t with_table = 0;
  for (std::uint64_t seed = first; seed < first + count; ++seed) {
    const Controller controller = draw_controller(seed, 3);
    with_table += controller.has_table ? 1 : 0;
    const auto run = [&](bool use_tables, bool use_computation, std::size_t images, Tally& tally,
                         const char* name) {
      ChecksumSearch search;
      search.tables = use_tables;
      search.computation = use_computation;
      for (std::size_t k = 0; k < images; ++k) search.images.push_back(controller.images[k]);
      if (verbose) std::printf("%s\n", name);
      judge(controller, search_checksums(search), use_tables && !use_computation,
            use_computation && !use_tables, images, seed, verbose, tally);
    };
    run(true, false, 1, tables, "tables");
    run(false, true, 1, computed, "computation");
    run(true, true, 1, both, "both");
    run(true, true, 2, family, "two images");
    run(true, true, 3, three, "three images");
    std::fflush(stdout);
  }
  std::printf("%llu controllers from seed %llu, %zu with a table\n\n", static_cast<unsigned long long>(count),
              static_cast<unsigned long long>(first), with_table);
  const std::pair<const char*, const Tally*> rows[] = {
      {"tables alone, one image, checksums in tables", &tables},
      {"computation alone, one image, checksums outside tables", &computed},
      {"both, one image", &both},
      {"both, two images of one family", &family},
      {"both, three images of one family", &three}};
  print_head();
  for (const auto& [name, tally] : rows) print(name, *tally);
  std::printf(
      "\n| search | found of the decidable | recall | found of the others | wrong but for an end stated open "
      "| "
      "recall with these | precision with these |\n");
  std::printf("| --- | ---: | ---: | ---: | ---: | ---: | ---: |\n");
  for (const auto& [name, tally] : rows) print_allowed(name, *tally);
  return 0;
}
