#include "calseal/report/study/read_page.h"

#include <algorithm>
#include <cstdio>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/changes/checks_report.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/changes/strip.h"
#include "calseal/report/html/block_picture.h"
#include "calseal/report/html/document.h"
#include "calseal/report/html/ground.h"
#include "calseal/report/html/parts.h"

namespace calseal {
namespace {

constexpr std::size_t kMostFindings = 100;     // rows; as many have a letter
constexpr std::size_t kMostChecks = 200;       // rows
constexpr std::size_t kMostDifferences = 100;  // rows

std::string bits_text(double bits) {
  char text[16];
  std::snprintf(text, sizeof text, "%.1f", bits);
  return text;
}

// By place, so that they rise along the strips.
std::vector<std::string> damage_letters(const std::vector<Damage>& damage) {
  std::vector<std::size_t> placed;
  for (std::size_t i = 0; i < damage.size() && i < kMostFindings; ++i) {
    if (damage[i].at) placed.push_back(i);
  }
  std::ranges::stable_sort(placed, {}, [&](std::size_t i) { return *damage[i].at; });
  std::vector<std::string> letters(damage.size());
  for (std::size_t i = 0; i < placed.size(); ++i) letters[placed[i]] = place_letter(i);
  return letters;
}

class ReadPage {
 public:
  explicit ReadPage(const ReadView& view)
      : map_(*view.map),
        judgement_(*view.judgement),
        name_(view.name),
        declared_(judgement_.plan ? Plan() : declared_plan(map_)),
        ground_(ground_of(judgement_.plan ? *judgement_.plan : declared_, judgement_.read.image)),
        letters_(damage_letters(judgement_.damage)) {}

  std::string title() const { return "Read of " + map_.controller + ", " + map_.name; }

  Html body() const {
    return heading() + band() + findings() + memories() + identity() + checks() + differences();
  }

 private:
  Html heading() const {
    return element("header", element("p.kind", "Incoming read"),
                   element("h1", said(map_.controller), element("span.title", said(name_))),
                   element("p.lead", "Region map ", said(region_map_words(map_))));
  }

  Html band() const {
    const bool stock = judgement_.grade == ReadGrade::kMatchesKnownStock;
    const Stance stance = !judgement_.sound()         ? Stance::kBad
                          : stock && judgement_.whole ? Stance::kGood
                                                      : Stance::kNotVerified;
    std::string word(read_heading(judgement_));
    for (char& c : word) c = static_cast<char>(c >= 'a' && c <= 'z' ? c - 'a' + 'A' : c);
    Facts facts;
    facts.add("grade", said(read_grade_words(judgement_.grade)));
    facts.add("recognised", said(recognition_words(judgement_)));
    facts.add("use", said(read_use_words(judgement_)));
    return verdict_band(stance, word, "As calseal receive judges it. Nothing is sealed.", facts.html());
  }

  Html findings() const {
    Html out;
    for (const std::string& limit : judgement_.limits) out += warning(said(limit));
    if (!judgement_.damage.empty()) {
      Table table("findings", {{"finding"}, {"where"}, {"found"}, {"what it means"}, {"next"}});
      for (std::size_t i = 0; i < judgement_.damage.size() && i < kMostFindings; ++i) {
        const Damage& damage = judgement_.damage[i];
        const Html letter = damage.at ? element("span.letter", letters_[i]) + " " : Html();
        table.add({letter + damage_name(damage.kind), said(damage.place), said(damage.found),
                   damage_meaning(damage.kind), damage_advice(damage.kind)});
      }
      out += table.html();
      if (judgement_.damage.size() > kMostFindings)
        out += element("p.quiet", "and " + grouped(judgement_.damage.size() - kMostFindings) +
                                      " more; calseal receive --json lists them");
    }
    if (out.empty()) return {};
    return section("Found", "What is wrong, and what this read cannot prove. Letters stand over the strips.",
                   out);
  }

  void mark_damage(MemoryPicture& picture, std::size_t memory) const {
    for (std::size_t i = 0; i < judgement_.damage.size() && i < kMostFindings; ++i) {
      const Damage& damage = judgement_.damage[i];
      if (!damage.at || damage.at->memory != memory) continue;
      const Range range = intersect(damage.at->range, picture.extent);
      picture.flags.push_back({range.begin + range.size() / 2, letters_[i]});
      picture.lane.push_back({range, std::string(damage_name(damage.kind)), true});
    }
    std::ranges::sort(picture.flags, {}, &PictureFlag::at);
    std::ranges::sort(picture.lane, {}, [](const PictureBox& box) { return box.range.begin; });
    for (const ChangedRange& change : judgement_.differences) {
      if (change.place.memory == memory)
        picture.marks.push_back({change.place.range, change.kind == SpanKind::kDerived, false});
    }
  }

  Html memory(std::size_t m) const {
    MemoryPicture picture = memory_on(ground_, m);
    mark_damage(picture, m);
    const std::string size = size_words(picture.extent.size());
    const std::string words =
        picture.flags.empty() ? "nothing found" : std::to_string(picture.flags.size()) + " found here";
    picture.spoken = "Memory " + map_.memories[m].name + ", " + size + ": " + words;
    Html out = element("h3", said(map_.memories[m].name), element("span.quiet", ", " + size + ", " + words)) +
               memory_picture(picture);
    const Memory& bytes = judgement_.read.image.memories[m];
    if (bytes.known.empty()) return out;
    return out + entropy(bytes);
  }

  Html entropy(const Memory& bytes) const {
    const EntropyColumns measured = entropy_columns(bytes);
    double least = 8, most = 0;
    for (const auto& column : measured.columns) {
      if (!column) continue;
      least = std::min(least, column->least);
      most = std::max(most, column->most);
    }
    if (least > most) return {};
    const std::string span = "from " + bits_text(least) + " to " + bits_text(most) + " bits per byte";
    const std::string blocks = "blocks of " + bytes_text(measured.block);
    return block_picture({measured.columns, 8, "Entropy of " + blocks + ", " + span}) +
           element("p.scale",
                   element("span", "entropy of " + blocks + ", the floor is 0 and the ceiling 8 bits"),
                   element("span", span));
  }

  Html memories() const {
    Html out;
    for (std::size_t m = 0; m < map_.memories.size(); ++m) out += memory(m);
    Html more;
    if (!judgement_.differences.empty())
      more += pin_legend(Pin::kChanged, "differs", "from the known stock " + judgement_.stock);
    return section("Memory",
                   "To scale, with the regions of the map. A lettered bar below a strip is a finding. The "
                   "curve under it is how random each block looks: the band goes from the least to the most "
                   "of the blocks that share a column, the line is their mean.",
                   out + kinds_legend(ground_, more));
  }

  Html identity() const {
    Facts facts;
    for (const IdentityValue& value : judgement_.identity)
      facts.add(value.field->name, said(identity_words(judgement_, value)));
    const Html rows = facts.html();
    return rows.empty() ? rows : section("Identity", "What the read says about itself.", rows);
  }

  Html checks() const {
    if (judgement_.checks.empty()) return {};
    Table table("checks", {{"name"}, {"state"}, {"stored"}, {"computed"}, {"more"}});
    std::vector<const CheckOutcome*> rows;
    for (const CheckOutcome& check : judgement_.checks) rows.push_back(&check);
    // What fails is what he looks for.
    std::ranges::stable_sort(rows, {},
                             [](const CheckOutcome* check) { return check->state != CheckState::kFails; });
    for (std::size_t i = 0; i < rows.size() && i < kMostChecks; ++i) {
      const CheckOutcome& check = *rows[i];
      const auto value = [&](const std::string& digits) {
        if (check.is_copy || digits.empty()) return Html();
        return code(digits.size() > 24 ? digits.substr(0, 24) + "..." : digits);
      };
      table.add({said(check.name), check_state(check.state), value(check.stored),
                 check.state == CheckState::kHolds ? Html() : value(check.computed),
                 check.detail.empty() ? Html() : said(check.detail)});
    }
    Html out = table.html();
    if (rows.size() > kMostChecks)
      out += element("p.quiet", "and " + grouped(rows.size() - kMostChecks) + " more");
    return section("Checksums and copies", checks_summary(judgement_.checks) + ".", out);
  }

  Html differences() const {
    const std::vector<ChangedRange>& all = judgement_.differences;
    if (all.empty()) return {};
    Table table("differences from the stock", {{"place"}, {"region"}, {"kind"}, {"bytes", true}});
    for (std::size_t i = 0; i < all.size() && i < kMostDifferences; ++i)
      table.add({code(place_text(map_, all[i].place)), all[i].region.empty() ? Html() : said(all[i].region),
                 kind_key(all[i].kind), number(all[i].place.range.size())});
    Html out = table.html();
    if (all.size() > kMostDifferences)
      out += element("p.quiet", "and " + grouped(all.size() - kMostDifferences) +
                                    " more; calseal receive --json lists them");
    return section("Against the stock",
                   "Compared with " + judgement_.stock +
                       ", in bytes that do not belong to the vehicle; "
                       "neighbours count as one place.",
                   out);
  }

  const RegionMap& map_;
  const ReadJudgement& judgement_;
  const std::string& name_;
  Plan declared_;
  PictureGround ground_;
  std::vector<std::string> letters_;  // by finding
};

}  // namespace

std::string_view read_heading(const ReadJudgement& judgement) {
  if (!judgement.recognised) return "not recognised";
  if (!judgement.damage.empty()) return "damaged";
  if (judgement.grade == ReadGrade::kChecksumsFail) return "checksums fail";
  if (judgement.grade == ReadGrade::kDiffersFromKnownStock) return "differs from known stock";
  if (judgement.grade == ReadGrade::kMatchesKnownStock) return "matches known stock";
  return "nothing wrong seen";
}

std::string read_html(const ReadView& view) {
  const ReadPage page(view);
  return html_document({page.title(), view.tool, page.body()});
}

JsonValue read_summary_json(const ReadView& view) {
  const ReadJudgement& judgement = *view.judgement;
  return json_object({{"kind", json("read")},
                      {"recognised", json(judgement.recognised)},
                      {"sound", json(judgement.sound())},
                      {"grade", json(read_grade_name(judgement.grade))},
                      {"findings", json(judgement.damage.size())},
                      {"failing", json(count_checks(judgement.checks).failing)}});
}

}  // namespace calseal
