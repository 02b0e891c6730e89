// How many checksums of 50 invented controllers are found, and how many finds are wrong: by descriptor
// tables, by computation, from one image and from two and three of one family. Prints the Markdown table of
// docs/drafting.md. With
// --time: a 4 MiB image over a 4 KiB grid, the whole catalogue.
//
// usage: draft_bench [FIRST_SEED [CONTROLLERS]] | draft_bench --time
#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <string>

#include "calseal/base/text.h"
#include "calseal/study/checksum_search.h"
#include "draft_controllers.h"

namespace {

using namespace calseal;
using namespace draft_bench;

struct Tally {
  std::size_t truths = 0, right = 0, found = 0;
  std::size_t unseen = 0;           // of the wrong: right but for unused space that the sum does not see
  std::size_t alone[2][2] = {};     // undecidable, decidable by itself: declared, found
  std::size_t by_width[3][2] = {};  // 16, 32, 64 bits: declared, found
};

// A find is right when it gives what the truth gives whatever the bytes are.
bool agrees(const Truth& truth, const Candidate& found, const Bytes& image, Draw& draw) {
  const Hit& hit = found.hit;
  const Range slot{truth.slot, truth.slot + truth.size() * (truth.twin ? 2 : 1)};
  if (hit.has_slot()) {
    if (hit.slot_range() != slot) return false;
  } else {
    // A rule over all that the truth is about says the same, though not where its slot is.
    Range hull = truth.coverage;
    if (slot.begin <= hull.end && hull.begin <= slot.end)
      hull = {std::min(hull.begin, slot.begin), std::max(hull.end, slot.end)};
    if (hit.coverage != hull) return false;
  }
  for (int round = 0; round < 4; ++round) {
    Bytes other = image;
    const auto touch = [&](std::uint64_t at) {
      if (at < other.size() && !(truth.slot <= at && at < truth.slot + truth.size() * (truth.twin ? 2 : 1)))
        other[static_cast<std::size_t>(at)] ^= static_cast<std::uint8_t>(draw.between(1, 255));
    };
    for (const Range& range : {truth.coverage, hit.coverage}) {
      for (const std::uint64_t at :
           {range.begin - 1, range.begin, range.begin + 1, range.end - 2, range.end - 1, range.end})
        touch(at);
      for (int i = 0; i < 8; ++i) touch(draw.between(range.begin, range.end - 1));
    }
    put_right(truth, other);
    const RangeValues values(search_algorithms()[hit.algorithm], other, {4096, other.size()});
    if (!holds_in(values, other, hit)) return false;
  }
  return true;
}

// The right slot and kind, and what is covered too much or too little is all 00: no byte of the image tells.
bool agrees_but_for_unused(const Truth& truth, const Candidate& found, const Bytes& image) {
  const Hit& hit = found.hit;
  const Algorithm& algorithm = search_algorithms()[hit.algorithm].algorithm;
  if (truth.method.crc || algorithm.kind != AlgorithmKind::kSum || truth.rule == hit.has_slot()) return false;
  if (algorithm.sum.unit != 8 * truth.method.unit || algorithm.sum.accumulator != truth.method.width)
    return false;
  if (hit.has_slot() && hit.slot != truth.slot) return false;
  const auto blank = [&](std::uint64_t a, std::uint64_t b) {
    for (std::uint64_t at = std::min(a, b); at < std::max(a, b); ++at) {
      if (image[static_cast<std::size_t>(at)] != 0 && !(truth.slot <= at && at < truth.slot + truth.size()))
        return false;
    }
    return true;
  };
  return blank(hit.coverage.begin, truth.coverage.begin) && blank(hit.coverage.end, truth.coverage.end);
}

// Information bound. A search over all ranges of the grid, all algorithms of that width, layouts and storages
// (and the image's words, for a slot anywhere) makes so many hypotheses; each agrees by chance with
// probability 2^-bits. When more than one is expected to, nothing inside the image can single this checksum
// out by itself. In a table the ranges are its records, a handful.
bool decidable_alone(const Truth& truth, std::size_t size, std::size_t images) {
  const double points = static_cast<double>(size) / static_cast<double>(kSearchGrid);
  double hypotheses = 0;
  for (const SearchAlgorithm& one : search_algorithms()) {
    if (one.bits != truth.method.width) continue;
    const std::size_t layouts = layouts_of(one.size, Layout::Anchor::kEnd).size() +
                                layouts_of(one.size, Layout::Anchor::kStart).size();
    hypotheses += static_cast<double>(layouts * storages_of(one).size());
  }
  hypotheses *= truth.in_table ? 8 : points * points / 2;
  const double bits = truth.method.width * static_cast<double>(images) * (truth.twin ? 2 : 1);
  return std::log2(hypotheses) < bits;
}

std::string words_of(const Hit& hit) {
  std::string text = search_algorithms()[hit.algorithm].algorithm.name + " over " + range_text(hit.coverage);
  text += hit.has_slot() ? " at " + address_text(hit.slot) : " = " + hex_number(hit.equals);
  return text + (hit.storage.order == ByteOrder::kBig ? " be" : " le") + " t" +
         std::to_string(static_cast<int>(hit.storage.transform)) + (hit.from_table ? " table" : "") +
         " anchor " + std::to_string(static_cast<int>(hit.layout.anchor)) + " own " +
         std::to_string(static_cast<int>(hit.layout.own));
}

void judge(const Controller& controller, const SearchOutcome& outcome, bool tables_only, bool computed_only,
           std::size_t images, std::uint64_t seed, bool verbose, Tally& tally) {
  Draw draw(seed * 7919 + 1);
  std::vector<bool> hit(controller.truths.size(), false);
  for (const Candidate& found : outcome.found) {
    bool right = false;
    for (std::size_t t = 0; t < controller.truths.size(); ++t) {
      if (!agrees(controller.truths[t], found, controller.images.front(), draw)) continue;
      right = hit[t] = true;
      break;
    }
    ++tally.found;
    tally.right += right ? 1 : 0;
    if (!right)
      tally.unseen += std::any_of(
          controller.truths.begin(), controller.truths.end(),
          [&](const Truth& truth) { return agrees_but_for_unused(truth, found, controller.images.front()); });
    if (!right && verbose)
      std::printf("  seed %llu WRONG %s, worth %.1f, evidence %.1f\n", static_cast<unsigned long long>(seed),
                  words_of(found.hit).c_str(), found.worth, found.hit.evidence);
  }
  for (std::size_t t = 0; t < controller.truths.size(); ++t) {
    const Truth& truth = controller.truths[t];
    if (tables_only && !truth.in_table) continue;
    if (computed_only && truth.in_table) continue;
    ++tally.truths;
    const std::size_t width = truth.method.width == 16 ? 0 : truth.method.width == 32 ? 1 : 2;
    ++tally.by_width[width][0];
    tally.by_width[width][1] += hit[t] ? 1 : 0;
    const std::size_t decidable = decidable_alone(truth, controller.images.front().size(), images) ? 1 : 0;
    ++tally.alone[decidable][0];
    tally.alone[decidable][1] += hit[t] ? 1 : 0;
    if (!hit[t] && verbose) {
      std::printf("  seed %llu MISSED %s over %s at %s %s%s%s%s%s, image %s\n",
                  static_cast<unsigned long long>(seed), truth.method.name.c_str(),
                  range_text(truth.coverage).c_str(), address_text(truth.slot).c_str(),
                  truth.big ? "be" : "le", truth.rule ? " rule" : "", truth.complement ? " complement" : "",
                  truth.twin ? " twin" : "", truth.in_table ? " table" : "",
                  hex_number(controller.images.front().size()).c_str());
    }
  }
}

void print(const char* name, const Tally& tally) {
  const std::size_t hits = tally.by_width[0][1] + tally.by_width[1][1] + tally.by_width[2][1];
  std::printf(
      "| %s | %zu | %zu | %.1f %% | %zu | %zu | %.1f %% | %zu/%zu | %zu/%zu | %zu/%zu | %zu | %zu/%zu | "
      "%zu/%zu |\n",
      name, tally.truths, hits,
      100.0 * static_cast<double>(hits) / static_cast<double>(std::max<std::size_t>(tally.truths, 1)),
      tally.found, tally.found - tally.right,
      100.0 * static_cast<double>(tally.right) / static_cast<double>(std::max<std::size_t>(tally.found, 1)),
      tally.by_width[0][1], tally.by_width[0][0], tally.by_width[1][1], tally.by_width[1][0],
      tally.by_width[2][1], tally.by_width[2][0], tally.unseen, tally.alone[1][1], tally.alone[1][0],
      tally.alone[0][1], tally.alone[0][0]);
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
    std::printf("  %s, worth %.1f\n", words_of(found.hit).c_str(), found.worth);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc > 1 && std::string(argv[1]) == "--time") return time_one();
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
  std::printf(
      "| search | declared | found of them | recall | finds | wrong | precision | 16 bits | 32 bits | 64 "
      "bits | wrong only by unused 00 | decidable alone | not |\n");
  std::printf(
      "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |\n");
  print("tables alone, one image, checksums in tables", tables);
  print("computation alone, one image, checksums outside tables", computed);
  print("both, one image", both);
  print("both, two images of one family", family);
  print("both, three images of one family", three);
  return 0;
}
