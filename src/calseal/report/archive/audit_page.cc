#include "calseal/report/archive/audit_page.h"

#include <algorithm>
#include <array>
#include <map>

#include "calseal/archive/path_text.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/archive/archive_times.h"
#include "calseal/report/html/calendar_picture.h"
#include "calseal/report/html/document.h"
#include "calseal/report/html/parts.h"
#include "calseal/report/layout/page.h"
#include "calseal/trust/key.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

constexpr std::size_t kMostRows = 40;     // of the files of one cause
constexpr std::size_t kMostFolders = 20;  // and other lists

std::string folders_text(const AuditScope& scope) {
  std::string text;
  for (std::size_t i = 0; i < scope.folders.size() && i < kMostFolders; ++i)
    text += (i == 0 ? "" : ", ") + path_text(scope.folders[i]);
  return text + (scope.folders.size() > kMostFolders ? " and more" : "");
}

struct SeverityLook {
  MarkupName sign;
  std::string_view mark, one, many;
};
SeverityLook look_of(Severity severity) {
  switch (severity) {
    case Severity::kError:
      return {"span.sign.bad", "✕", "error", "errors"};
    case Severity::kWarning:
      return {"span.sign.mind", "!", "warning", "warnings"};
    case Severity::kNote:
      return {"span.sign.none", "–", "note", "notes"};
  }
  return {"span.sign.none", "–", "", ""};
}

Html severity_state(Severity severity) {
  const SeverityLook look = look_of(severity);
  return element("span.state", element(look.sign, {{"aria-hidden", "true"}}, look.mark), " ", look.one);
}

// All that one code was found for, as long as it is there.
struct Cause {
  const FindingInfo* info = nullptr;
  std::vector<const Finding*> findings;
  std::uint64_t fresh = 0;
};

std::string upper(std::string text) {
  for (char& c : text) c = c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c;
  return text;
}

class AuditPage {
 public:
  explicit AuditPage(const AuditView& view)
      : scope_(view.record->scope),
        judgement_(*view.judgement),
        times_(archive_times(*view.record, *view.judgement)) {
    std::map<std::pair<Severity, FindingCode>, Cause> causes;
    for (const Finding& finding : judgement_.findings) {
      ++ages_[static_cast<std::size_t>(finding.age)];
      if (finding.age == FindingAge::kGone) {
        gone_.push_back(&finding);
        continue;
      }
      Cause& cause = causes[{finding.severity(), finding.code}];
      cause.info = &info(finding.code);
      cause.findings.push_back(&finding);
      cause.fresh += finding.age == FindingAge::kNew ? 1 : 0;
    }
    for (auto& [key, cause] : causes) causes_.push_back(std::move(cause));
  }

  std::string page_title() const { return "Audit of " + folders_text(scope_); }

  Html body() const {
    return title() + band() + mind() + glance() + overview() + causes() + gone() + calendar() + witnesses() +
           audited();
  }

 private:
  Html title() const {
    Html line = counted(judgement_.looked_at, "file", "files") + ", " + bytes_text(scope_.bytes);
    if (!times_.newest.empty()) line += ", newest revision sealed " + times_.newest + " (claimed)";
    return element("header", element("p.kind", "Audit report"), element("h1", said(folders_text(scope_))),
                   element("p.lead", line));
  }

  Html band() const {
    const Html notes = judgement_.count(Severity::kNote) == 0
                           ? Html()
                           : element("p.quiet", counted(judgement_.count(Severity::kNote), "note", "notes") +
                                                    " besides: worth knowing, nothing to put right.");
    if (!judgement_.clean() && judgement_.count(Severity::kError) + judgement_.count(Severity::kWarning) != 0)
      return verdict_band(Stance::kBad, upper(audit_words(judgement_)),
                          "Each cause is explained below, with what to do about it.", notes);
    if (!judgement_.whole) {
      return verdict_band(Stance::kNotVerified, "STOPPED ON THE WAY",
                          "Nothing wrong was found in what was looked at, and that is not all of it.", notes);
    }
    if (scope_.depth == Depth::kStored) {
      return verdict_band(
          Stance::kSealOnly, "CLEAN AS STORED",
          "Every file was looked at: containers, signatures and digests hold, and nothing that "
          "should be there is missing. No image was rebuilt.",
          notes);
    }
    return verdict_band(
        Stance::kGood, "CLEAN",
        "Every file was looked at, every revision was rebuilt and proved again from bytes, and "
        "nothing that should be there is missing.",
        notes);
  }

  // What a person must know before he relies on it.
  Html mind() const {
    Html out;
    if (judgement_.count(Severity::kError) != 0)
      out += warning(
          "Write nothing to a controller from a file that is named below before its cause is cleared.");
    if (!judgement_.whole) {
      out += warning(
          "The run was stopped: what was not looked at, and everything that only shows between files, "
          "is not judged. Go on with --resume.");
    }
    if (scope_.depth == Depth::kStored) {
      out += warning(
          "This does not prove that revisions stay within their areas: an audit with --depth proved "
          "rebuilds every image and does.");
    } else {
      out += warning(
          "Proved means: within the areas declared by each revision's region map. It says nothing "
          "about what a calibration does to a vehicle.");
    }
    if (judgement_.unproved_files != 0) {
      out += warning("Nothing else proves " + counted(judgement_.unproved_files, "file", "files") +
                     ". Keep the record of this audit and give it to the next one (--since): only so does it "
                     "show when they change.");
    }
    return section("Cautions", Html(), out);
  }

  Html glance() const {
    const auto figure = [](const std::string& value, std::string_view label) {
      return element("div", element("dt", label), element("dd", value));
    };
    Html figures =
        figure(grouped(judgement_.looked_at), judgement_.looked_at == scope_.files
                                                  ? "files, all of them"
                                                  : "files of " + grouped(scope_.files)) +
        figure(grouped(judgement_.jobs), judgement_.jobs == 1 ? "job" : "jobs") +
        figure(grouped(judgement_.bundles), judgement_.bundles == 1 ? "bundle" : "bundles") +
        (scope_.depth == Depth::kProved
             ? figure(grouped(judgement_.proved), "images rebuilt and proved")
             : figure(grouped(judgement_.ledgers), judgement_.ledgers == 1 ? "ledger" : "ledgers"));
    Html out = element("dl.figures", figures);
    if (judgement_.compared) {
      out += element("dl.figures", figure(grouped(age(FindingAge::kNew)), "findings are new") +
                                       figure(grouped(age(FindingAge::kStill)), "are still there") +
                                       figure(grouped(age(FindingAge::kGone)), "are gone"));
    }
    return section("At a glance",
                   judgement_.compared ? "Compared with the earlier audit that was given." : Html(), out);
  }

  std::uint64_t age(FindingAge age) const { return ages_[static_cast<std::size_t>(age)]; }

  Html overview() const {
    if (causes_.size() < 2) return {};
    std::vector<TableColumn> columns = {{"cause"}, {"how grave"}, {"findings", true}};
    if (judgement_.compared) columns.push_back({"of them new", true});
    Table table("findings by cause", columns);
    for (const Cause& cause : causes_) {
      std::vector<Html> cells = {cause.info->name, severity_state(cause.info->severity),
                                 number(cause.findings.size())};
      if (judgement_.compared) cells.push_back(number(cause.fresh));
      table.add(cells);
    }
    return section("By cause", "The gravest first; each is explained below.", table.html());
  }

  Html causes() const {
    Html out;
    for (const Cause& cause : causes_) out += cause_html(cause);
    return out.empty() ? out : section("Findings", "What was found, what it means, what to do.", out);
  }

  Html cause_html(const Cause& cause) const {
    const SeverityLook look = look_of(cause.info->severity);
    Html head = element("h3", element(look.sign, {{"aria-hidden", "true"}}, look.mark), " ",
                        element("span.unseen", std::string(look.one) + ": "), cause.info->meaning);
    std::string count = counted(cause.findings.size(), look.one, look.many);
    if (judgement_.compared) count += ", " + grouped(cause.fresh) + " new";
    head += element("p.quiet", code(cause.info->name), ", " + count);
    head += element("p.next", element("strong", "What to do: "), cause.info->next);
    return element("article.cause", head, findings_table(cause.findings, cause.info->name));
  }

  Html findings_table(const std::vector<const Finding*>& findings, std::string_view name) const {
    const bool subjects = std::ranges::any_of(findings, [](const Finding* f) { return !f->subject.empty(); });
    std::vector<TableColumn> columns = {{"where"}};
    if (subjects) columns.push_back({"about"});
    columns.push_back({"found"});
    if (judgement_.compared) columns.push_back({"since then"});
    Table table(std::string("findings: ") + std::string(name), columns);
    for (std::size_t i = 0; i < findings.size() && i < kMostRows; ++i) {
      const Finding& finding = *findings[i];
      std::vector<Html> cells = {where(finding)};
      if (subjects) cells.push_back(finding.subject.empty() ? Html() : said(finding.subject));
      cells.push_back(found(finding));
      if (judgement_.compared) cells.push_back(age_words(finding.age));
      table.add(cells);
    }
    Html out = table.html();
    if (findings.size() > kMostRows) {
      out += element("p.quiet", "and " + grouped(findings.size() - kMostRows) +
                                    " more; calseal audit --report FILE.csv has them all");
    }
    return out;
  }

  static Html where(const Finding& finding) {
    return finding.path.empty() ? element("span.quiet", "no place is known") : code_of(finding.path);
  }

  static Html code_of(const std::string& path) { return element("code", said(path_text(path))); }

  static Html found(const Finding& finding) {
    Html out = said(finding.text);
    if (!finding.fault) return out;
    out += " " + code(calseal::code(finding.fault->reason));
    if (!finding.fault->expected.empty())
      out += element("span.quiet.under", "expected " + finding.fault->expected);
    return out;
  }

  static Html age_words(FindingAge age) {
    switch (age) {
      case FindingAge::kNew:
        return element("strong", "new");
      case FindingAge::kStill:
        return "still there";
      case FindingAge::kGone:
        return "gone";
      case FindingAge::kNotCompared:
        break;
    }
    return {};
  }

  Html gone() const {
    if (gone_.empty()) return {};
    Table table("findings that are gone", {{"where"}, {"about"}, {"what it was"}});
    for (std::size_t i = 0; i < gone_.size() && i < kMostRows; ++i) {
      table.add({where(*gone_[i]), said(gone_[i]->subject), info(gone_[i]->code).name});
    }
    Html out = table.html();
    if (gone_.size() > kMostRows)
      out += element("p.quiet", "and " + grouped(gone_.size() - kMostRows) + " more");
    return section("Gone", "The earlier audit found this; this one does not.", out);
  }

  Html calendar() const {
    if (times_.months.empty()) return {};
    Calendar calendar;
    calendar.caption = "Revisions sealed in each month, and findings about them";
    bool hollow = false, bad = false, mind = false;
    for (const ArchiveMonth& month : times_.months) {
      std::string words = counted(month.witnessed + month.unwitnessed, "revision", "revisions") + " sealed";
      if (month.unwitnessed != 0) words += ", " + grouped(month.unwitnessed) + " of them witnessed by nobody";
      if (month.errors != 0) words += ", " + counted(month.errors, "error", "errors");
      if (month.warnings != 0) words += ", " + counted(month.warnings, "warning", "warnings");
      hollow = hollow || month.unwitnessed != 0;
      bad = bad || month.errors != 0;
      mind = mind || month.warnings != 0;
      calendar.months.push_back(
          {month.year, month.month, month.witnessed, month.unwitnessed, month.errors, month.warnings, words});
    }
    Html legend = element("li", calendar_key_full("sealed, and witnessed"));
    if (hollow) legend += element("li", calendar_key_hollow("sealed, witnessed by nobody"));
    if (bad) legend += element("li", calendar_key_bad("errors about them"));
    if (mind) legend += element("li", calendar_key_mind("warnings about them"));
    Html out = calendar_picture(calendar) + element("ul.legend.keys", legend);
    if (times_.undated != 0) {
      out += element("p.quiet", counted(times_.undated, "finding is", "findings are") +
                                    " about no single revision and in no month.");
    }
    return section("Over the years", "By the claimed time of each revision. Bars are to one scale.", out);
  }

  Html witnesses() const {
    if (times_.revisions == 0) return {};
    const std::uint64_t nobody = times_.by_witness[static_cast<std::size_t>(Witness::kNobody)];
    constexpr std::array<std::string_view, kWitnessLags> kLags = {"before the claimed time", "within a day",
                                                                  "within a week", "within 31 days", "later"};
    Table table("how long after its claimed time a revision was witnessed first",
                {{"first witnessed"}, {"revisions", true}, {"share"}});
    const auto row = [&](const Html& name, std::uint64_t count) {
      if (count == 0) return;
      // At least a stroke.
      const std::uint64_t thousandths = std::max<std::uint64_t>(5, count * 1000 / times_.revisions);
      const std::string width =
          std::to_string(thousandths / 10) + "." + std::to_string(thousandths % 10) + "%";
      table.add(
          {name, number(count),
           element("svg.share",
                   {{"width", "100%"}, {"height", "12"}, {"aria-hidden", "true"}, {"focusable", "false"}},
                   element("rect.full", {{"x", "0"}, {"y", "1"}, {"width", width}, {"height", "10"}})) +
               element("span.unseen", share_of_image(count * 10000 / times_.revisions))});
    };
    for (std::size_t i = 0; i < kWitnessLags; ++i) row(kLags[i], times_.by_lag[i]);
    row("by nobody", nobody);
    Facts who;
    constexpr std::array<std::string_view, 4> kWho = {
        "nobody", "a head of the shop", "a head that the root pinned", "a time-stamp authority"};
    for (std::size_t i = kWho.size(); i-- > 0;) {
      if (times_.by_witness[i] != 0) who.add(kWho[i], counted(times_.by_witness[i], "revision", "revisions"));
    }
    Html out = table.html() + element("h3", "Who witnessed them") + who.html();
    if (times_.by_lag[static_cast<std::size_t>(WitnessLag::kBefore)] != 0) {
      out += warning(
          "A revision that was witnessed before its claimed time was sealed by a clock that ran ahead, or "
          "dated later by hand.");
    }
    return section(
        "Claimed and witnessed",
        "A claimed time is the word of whoever sealed. A head of the ledger that holds the entry shows "
        "that it existed; a time-stamp authority says so independently of the shop.",
        out);
  }

  Html audited() const {
    Facts facts;
    facts.add("folders", said(folders_text(scope_)));
    facts.add("depth", scope_.depth == Depth::kProved
                           ? "proved: images rebuilt, confinement and checksums proved again from bytes"
                           : "stored: containers, signatures, digests of stored bytes");
    facts.add("files seen", grouped(scope_.files) + ", " + bytes_text(scope_.bytes));
    facts.add("names and sizes", code(digest_text(scope_.survey)));
    facts.add("trust file", code(digest_text(scope_.trust)));
    for (std::size_t i = 0; i < scope_.roots.size() && i < kMostFolders; ++i)
      facts.add(i == 0 ? "root believed" : "a root before it",
                code(spoken_code(Spoken::kKey, scope_.roots[i])));
    return section(
        "What was audited",
        "Two audits of the same files at one depth write the same record; it holds no date of its own.",
        facts.html());
  }

  const AuditScope& scope_;
  const Judgement& judgement_;
  ArchiveTimes times_;
  std::vector<Cause> causes_;
  std::vector<const Finding*> gone_;
  std::array<std::uint64_t, 4> ages_{};
};

// The audit's own digest of names and sizes stands for an identity.
PaperEdge edge_of(const AuditView& view, const std::string& about) {
  const Judgement& judgement = *view.judgement;
  const AuditScope& scope = view.record->scope;
  const bool faults = judgement.count(Severity::kError) + judgement.count(Severity::kWarning) != 0;
  return {about, digest_text(scope.survey),
          (faults ? upper(audit_words(judgement)) + ", " : "") +
              paper_state(judgement.whole, scope.depth == Depth::kProved)};
}

}  // namespace

std::string audit_html(const AuditView& view) {
  const AuditPage page(view);
  return html_document({page.page_title(), view.tool, page.body(), edge_of(view, page.page_title())});
}

std::string audit_words(const Judgement& judgement) {
  const std::uint64_t errors = judgement.count(Severity::kError);
  const std::uint64_t warnings = judgement.count(Severity::kWarning);
  if (errors + warnings == 0) return judgement.whole ? "clean" : "stopped on the way";
  std::string text = errors == 0 ? "" : counted(errors, "error", "errors");
  if (warnings != 0) text += (text.empty() ? "" : ", ") + counted(warnings, "warning", "warnings");
  return text;
}

JsonValue audit_summary_json(const AuditView& view) {
  const Judgement& judgement = *view.judgement;
  std::array<std::uint64_t, 4> ages{};
  for (const Finding& finding : judgement.findings) ++ages[static_cast<std::size_t>(finding.age)];
  return json_object({{"kind", json("audit")},
                      {"depth", json(depth_name(judgement.scope.depth))},
                      {"whole", json(judgement.whole)},
                      {"files", json(judgement.looked_at)},
                      {"errors", json(judgement.count(Severity::kError))},
                      {"warnings", json(judgement.count(Severity::kWarning))},
                      {"notes", json(judgement.count(Severity::kNote))},
                      {"new", json(ages[static_cast<std::size_t>(FindingAge::kNew)])},
                      {"still_there", json(ages[static_cast<std::size_t>(FindingAge::kStill)])},
                      {"gone", json(ages[static_cast<std::size_t>(FindingAge::kGone)])}});
}

}  // namespace calseal
