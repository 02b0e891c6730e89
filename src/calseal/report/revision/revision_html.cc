#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/html/document.h"
#include "calseal/report/html/parts.h"
#include "calseal/report/layout/page.h"
#include "calseal/report/revision/bundle_ground.h"
#include "calseal/report/revision/chain.h"
#include "calseal/report/revision/memory_section.h"
#include "calseal/report/revision/options_section.h"
#include "calseal/report/revision/revision_report.h"
#include "calseal/report/revision/values_section.h"
#include "calseal/report/verdict/verdict_report.h"
#include "calseal/trust/approval.h"
#include "calseal/trust/key.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

struct StepLook {
  MarkupName name;
  std::string_view sign, word;
};

StepLook step_look(StepState state) {
  switch (state) {
    case StepState::kPassed:
      return {"span.sign.good", "✓", "passed"};
    case StepState::kFailed:
      return {"span.sign.bad", "✕", "failed"};
    case StepState::kNotReached:
      return {"span.sign.none", "–", "not reached"};
    case StepState::kNotAsked:
      return {"span.sign.none", "–", "not asked"};
  }
  return {"span.sign.none", "–", ""};
}

Html steps_section(const Verdict* verdict) {
  if (verdict == nullptr) return {};
  Html list;
  for (const Step& step : verdict->steps) {
    const auto [name, sign, word] = step_look(step.state);
    list += element("li", element(name, {{"aria-hidden", "true"}}, sign), " ", step.name,
                    step.state == StepState::kPassed ? element("span.unseen", ", passed")
                                                     : element("span.quiet", ", " + std::string(word)));
  }
  Facts evidence;
  std::string missing;
  for (const EvidenceItem& item : verdict->evidence) {
    if (item.given)
      evidence.add(item.name, Html("given") + (item.detail.empty() ? Html() : ": " + said(item.detail)));
    else
      missing += (missing.empty() ? "" : ", ") + item.name;
  }
  if (!missing.empty()) evidence.add("not given", element("span.quiet", missing));
  return section("What was checked", "In this order; the first failure decides.",
                 element("ol.steps", list) + element("h3", "Evidence") + evidence.html());
}

class RevisionPage {
 public:
  explicit RevisionPage(const RevisionView& view)
      : view_(view),
        manifest_(view.opened != nullptr                              ? &view.opened->manifest
                  : view.verdict != nullptr && view.verdict->manifest ? &*view.verdict->manifest
                                                                      : nullptr) {
    if (view.opened == nullptr) return;
    changes_ = placed_changes(*view.opened);
    windows_ = windows_of(view.opened->map, changes_);
    ground_ = ground_of(*view.opened);
    sides_ = known_sides(*view.opened, view.beside, view.read);
  }

  Html body() const {
    Html out = title() + band() + mind();
    if (view_.opened != nullptr) {
      // The tables before the pictures: a phone shows the pictures over many screens.
      out += glance() + memories_section(ground_, changes_, windows_, claimed()) +
             changes_section(ground_, changes_, claimed()) +
             options_section(*manifest_, changes_, claimed()) + checksums();
      out += places_section(ground_, changes_, windows_, sides_, claimed()) + words() + line();
    }
    out += sealed() + controller() + steps_section(view_.verdict);
    // Last, because it is long; not folded, so that paper has it.
    return view_.opened == nullptr ? out : out + values_section(*view_.opened, changes_, sides_, claimed());
  }

  PaperEdge edge() const {
    PaperEdge edge;
    edge.about = page_title();
    if (manifest_ != nullptr)
      edge.identity =
          digest_text(view_.opened != nullptr ? view_.opened->digest : view_.verdict->manifest_digest);
    const bool proved = view_.verdict != nullptr && view_.verdict->outcome == Outcome::kAccepted;
    const bool refused = view_.verdict != nullptr && view_.verdict->outcome == Outcome::kRefused;
    edge.state = (refused ? "REFUSED, " : "") + paper_state(!claimed(), proved);
    return edge;
  }

  std::string page_title() const {
    if (manifest_ == nullptr) return "Report on " + view_.name;
    return "Revision " + std::to_string(manifest_->revision) + " of job " + manifest_->job + ", " +
           manifest_->controller().name;
  }

  std::uint64_t changed_bytes() const {
    std::uint64_t bytes = 0;
    for (const PlacedChange& change : changes_) bytes += change.range.size();
    return bytes;
  }
  std::uint64_t known_bytes(const Image& image) const {
    std::uint64_t bytes = 0;
    for (const PlacedChange& change : changes_) {
      if (image.memories[change.memory].knows(change.range)) bytes += change.range.size();
    }
    return bytes;
  }
  const Sides& sides() const { return sides_; }

 private:
  // Nobody vouches for what the bundle says of itself.
  bool claimed() const { return view_.verdict == nullptr || view_.verdict->outcome == Outcome::kRefused; }

  Html title() const {
    if (manifest_ == nullptr)
      return element("header", element("p.kind", "Report on a bundle"),
                     element("h1", said(view_.name.substr(view_.name.rfind('/') + 1))));
    Html line = said(manifest_->job) + ", " + said(manifest_->controller().name);
    if (!manifest_->vehicle_reference.empty()) line += ", " + said(manifest_->vehicle_reference);
    return element("header", element("p.kind", "Revision report"),
                   element("h1", "Revision " + std::to_string(manifest_->revision),
                           manifest_->title.empty() ? Html() : element("span.title", said(manifest_->title))),
                   element("p.lead", "Job ", line));
  }

  Html band() const {
    if (view_.verdict == nullptr) {
      return verdict_band(
          Stance::kNotVerified, "NOT VERIFIED",
          "No trust file was given, so nobody looked at the seal. This page says what the file claims, "
          "not that it is true.",
          Html());
    }
    const Verdict& verdict = *view_.verdict;
    switch (verdict.outcome) {
      case Outcome::kAccepted:
        return verdict_band(
            Stance::kGood, "ACCEPTED",
            "The seal holds, the read fits, and the result was rebuilt: it differs from that read in " +
                bytes_text(verdict.bytes_to_change) + ", all within the areas declared by the region map.",
            seal_line());
      case Outcome::kAuthentic:
        return verdict_band(Stance::kSealOnly, "AUTHENTIC",
                            "The seal holds. Nothing was compared with a controller: no read was given.",
                            seal_line());
      case Outcome::kRefused:
        break;
    }
    return verdict_band(Stance::kBad, "REFUSED", "Do not write anything from this bundle.",
                        verdict.reason ? error_facts(*verdict.reason) : Html());
  }

  Html seal_line() const {
    std::string signers;
    for (const std::string& name : view_.verdict->signers) signers += (signers.empty() ? "" : ", ") + name;
    return element("p.quiet", "Sealed ", manifest_->claimed_time, " (claimed) by ", said(signers), ", ",
                   said(view_.verdict->shop), ".");
  }

  // What a person must know before he acts.
  Html mind() const {
    Html out;
    if (view_.verdict != nullptr) {
      for (const Caution& caution : view_.verdict->cautions) out += warning(said(caution.text));
    }
    if (manifest_ == nullptr) return out.empty() ? out : section("Cautions", Html(), out);
    if (manifest_->trial) out += warning("A trial: it must not be used after " + manifest_->expires + ".");
    for (const std::string& line : manifest_->cautions) {
      const bool said_before = view_.verdict != nullptr &&
                               std::ranges::any_of(view_.verdict->cautions, [&](const Caution& caution) {
                                 return caution.text == line;
                               });
      if (!said_before) out += warning(said(line));
    }
    Html requirements;
    for (const std::string& line : manifest_->requirements) requirements += element("li", said(line));
    if (!requirements.empty()) out += element("h3", "It requires") + element("ul", requirements);
    if (view_.verdict == nullptr || view_.verdict->outcome != Outcome::kRefused) {
      Html before;
      for (const std::string& line : writing_cautions()) before += element("li", line);
      out += element("h3", "Before anybody writes it") + element("ul.small", before);
    }
    return out.empty() ? out : section("Cautions", Html(), out);
  }

  Html glance() const {
    const ManifestController& controller = manifest_->controller();
    std::uint64_t derived = 0, write = 0;
    for (const PlacedChange& change : changes_)
      derived += change.kind == SpanKind::kDerived ? change.range.size() : 0;
    for (const NamedRange& range : controller.write_ranges) write += range.range.size();
    const auto figure = [](const Html& value, const Html& label) {
      return element("div", element("dt", label), element("dd", value));
    };
    std::uint64_t editable = 0, known = 0;
    for (const ManifestSpan& span : controller.spans) {
      if (span.kind == SpanKind::kEditable && span.before) editable += span.place.range.size();
    }
    for (const ManifestMemory& memory : controller.memories) {
      for (const Range& range : memory.known) known += range.size();
    }
    Html figures =
        figure(number(changed_bytes() - derived), claimed() ? "bytes claimed to be edited" : "bytes edited") +
        figure(number(derived), claimed() ? "bytes claimed to follow them" : "bytes corrected after them") +
        figure(share_of_image(known == 0 ? 0 : editable * 10000 / known),
               "of the known image may be edited") +
        figure(number(write), "bytes that a write covers");
    Html out = element("dl.figures", figures);
    if (const Html missing = missing_values(); !missing.empty()) out += missing;
    return section("At a glance",
                   claimed() ? "What the bundle claims to change in the base of its job."
                             : "Against the base of this job, as it was read.",
                   out);
  }

  Html missing_values() const {
    if (changes_.empty()) return {};
    const std::uint64_t all = changed_bytes(), before = known_bytes(sides_.before);
    if (before == all) return {};
    return element(
        "p.quiet",
        before == 0 ? "The values before are not known here. "
                    : "The values before are known for " + bytes_text(before) + " of " + grouped(all) + ". ",
        "Revision 0 of this base holds them (", element("code", "--beside r0.calseal"),
        "), and so does the base's own read (", element("code", "--read"), ").");
  }

  Html checksums() const {
    const ManifestController& controller = manifest_->controller();
    Html out;
    if (!controller.checksums.empty()) {
      Table table("checksums and copies of the result", {{"name"}, {"state"}, {"value"}});
      for (const ManifestChecksum& check : controller.checksums) {
        table.add({said(check.name),
                   claimed() ? Html("claimed: ") + check_state_name(check.state) : check_state(check.state),
                   check.value.empty() ? Html() : code(short_hex(check.value))});
      }
      out += table.html();
    }
    Facts patches;
    for (const ManifestPatch& patch : controller.patches)
      patches.add("permitted patch",
                  said(patch.name) + (patch.in_result ? ": applied" : ": not applied") +
                      (patch.in_base == patch.in_result ? ", as in the base" : ", other than in the base"));
    out += patches.html();
    if (out.empty()) return {};
    return section("Checksums and copies",
                   view_.verdict != nullptr && view_.verdict->outcome == Outcome::kAccepted
                       ? "What the controller itself verifies. Computed again from the rebuilt image."
                       : "What the controller itself verifies, as the manifest claims it.",
                   out);
  }

  static std::string short_hex(const std::string& hex) {
    return hex.size() > 24 ? hex.substr(0, 24) + "..." : hex;
  }

  Html words() const {
    Html out = said_lines(manifest_->notes);
    Facts facts;
    for (const auto& [name, text] : manifest_->annotations) facts.add(name, said(text));
    for (const ManifestAttachment& attachment : manifest_->attachments)
      facts.add("attached", said(attachment.title) + " " + code(attachment.entry));
    out += facts.html();
    return out.empty() ? out
                       : section("Notes",
                                 claimed() ? "Said by the bundle; shown, never deciding."
                                           : "Said by the shop; shown, never deciding.",
                                 out);
  }

  Html line() const {
    Html out = revision_line(*view_.opened, view_.beside);
    Facts facts;
    for (const Sha256& digest : manifest_->permitted_returns)
      facts.add("may go back to", code(digest_text(digest)));
    for (const std::string& file : manifest_->approvals) {
      const Result<Approval> approval = read_approval(view_of(file), "approval");
      facts.add("region map approved", approval
                                           ? "from " + code(digest_text(approval->from)) + " to " +
                                                 code(digest_text(approval->to)) + ": " + said(approval->text)
                                           : Html("an approval that cannot be read"));
    }
    if (view_.opened->set) {
      std::string order;
      for (const std::string& controller : view_.opened->set->write_order)
        order += (order.empty() ? "" : ", then ") + controller;
      facts.add("set", "valid only together: " + said(order) +
                           (view_.opened->set->drivable_between ? "; may be driven between two writes"
                                                                : "; must not be driven between two writes"));
    }
    return section("Where it stands",
                   view_.beside.empty()
                       ? "Other bundles of the job were not given; the chain is as far as this one names it."
                       : "The revisions that were given, each named by the digest of its manifest.",
                   out + facts.html());
  }

  Html sealed() const {
    if (manifest_ == nullptr) return {};
    const Sha256& digest = view_.opened != nullptr ? view_.opened->digest : view_.verdict->manifest_digest;
    Facts facts;
    facts.add("identity", code(digest_text(digest)));
    facts.add("check phrase", code(spoken_code(Spoken::kRevision, digest)));
    if (view_.verdict != nullptr && !view_.verdict->root_fingerprint.empty())
      facts.add("root of the shop", code(view_.verdict->root_fingerprint));
    if (view_.verdict != nullptr && view_.verdict->trust_version != 0)
      facts.add("trust file", said(trust_file_text(*view_.verdict)));
    facts.add("parent",
              manifest_->parent ? code(digest_text(*manifest_->parent)) : Html("none: the first of its job"));
    std::string roles;
    for (const std::string& role : manifest_->required_roles) roles += (roles.empty() ? "" : ", ") + role;
    facts.add("signed by role", said(roles));
    facts.add("made with", said(manifest_->tool));
    facts.add("file", said(view_.name));
    if (view_.opened != nullptr) {
      facts.add("its SHA-256", code(digest_text(compute_sha256(view_.opened->file))));
    }
    return section("Seal",
                   "Shop and customer who read the check phrase to each other hold the same revision.",
                   facts.html());
  }

  Html controller() const {
    if (manifest_ == nullptr) return {};
    const ManifestController& controller = manifest_->controller();
    Facts facts;
    facts.add("controller", said(controller.name));
    facts.add("region map", said(controller.map_name) + " version " + std::to_string(controller.map_version) +
                                " (" + said(controller.map_grade) + ")");
    facts.add("its digest", code(digest_text(controller.map_digest)));
    for (const ManifestIdentity& field : controller.identity) {
      facts.add(field.name, field.text.empty()
                                ? element("span.quiet", "not known, or not the same in every vehicle")
                                : said(field.text));
    }
    for (const ManifestBinding& field : controller.binding) {
      facts.add(field.name,
                field.digest
                    ? Html("tells the vehicle; sealed as a salted digest, so it stands nowhere in clear")
                    : Html("blank here: it cannot tell the vehicle"));
    }
    return section("Controller", "What the file says about itself.", facts.html());
  }

  const RevisionView& view_;
  const Manifest* manifest_;
  std::vector<PlacedChange> changes_;
  Windows windows_;
  PictureGround ground_;
  Sides sides_;
};

}  // namespace

std::string revision_html(const RevisionView& view) {
  const RevisionPage page(view);
  return html_document({page.page_title(), view.tool, page.body(), page.edge()});
}

JsonValue revision_summary_json(const RevisionView& view) {
  const RevisionPage page(view);
  const Verdict* verdict = view.verdict;
  const bool read = view.opened != nullptr;
  return json_object({{"kind", json("revision")},
                      {"verdict", json(verdict == nullptr ? std::string_view("not-verified")
                                                          : outcome_name(verdict->outcome))},
                      {"reason", json(verdict != nullptr && verdict->reason ? code(verdict->reason->reason)
                                                                            : std::string_view())},
                      {"identity", json(read ? digest_text(view.opened->digest) : std::string())},
                      {"changed_bytes", json(page.changed_bytes())},
                      {"values_before", json(read ? page.known_bytes(page.sides().before) : 0)},
                      {"values_after", json(read ? page.known_bytes(page.sides().after) : 0)}});
}

}  // namespace calseal
