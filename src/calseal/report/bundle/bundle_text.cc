#include <algorithm>
#include <array>

#include "calseal/base/text.h"
#include "calseal/report/bundle/bundle_report.h"
#include "calseal/report/layout/signs.h"
#include "calseal/report/layout/strip.h"
#include "calseal/trust/approval.h"
#include "calseal/trust/key.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

std::string heading(const Page& page, std::string_view text) {
  return "\n" + page.painted(Mark::kDim, text) + "\n";
}

std::string optional_label(const Page& page, std::string_view label, const std::string& text) {
  return text.empty() ? "" : labelled(page, label, printable(text, 1000));
}

std::string named_range_text(const NamedRange& place) {
  return printable(place.memory) + " " + range_text(place.range);
}

// Text of several lines, each escaped on its own.
std::string lines_text(const Page& page, std::string_view label, std::string_view text) {
  constexpr std::size_t kMostLines = 100;
  std::string out;
  for (std::size_t i = 0; !text.empty(); ++i) {
    if (i == kMostLines) return out + labelled(page, "", "... (--json has the rest)");
    const std::size_t end = text.find('\n');
    out += labelled(page, i == 0 ? label : "", printable(text.substr(0, end), 1000));
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
  }
  return out;
}

std::string revision_text(const OpenedBundle& opened, const Page& page) {
  const Manifest& manifest = opened.manifest;
  std::string text = labelled(
      page, "revision",
      std::to_string(manifest.revision) + (manifest.title.empty() ? "" : ", " + printable(manifest.title)));
  text += labelled(page, "job",
                   printable(manifest.job) + ", base " + std::to_string(manifest.base_number) + " (" +
                       printable(manifest.base_reason) + "), sequence " + std::to_string(manifest.sequence));
  text += labelled(page, "identity", digest_text(opened.digest));
  text += labelled(page, "phrase", spoken_code(Spoken::kRevision, opened.digest));
  text += labelled(page, "parent",
                   manifest.parent ? digest_text(*manifest.parent) : "none: the first of its job");
  if (manifest.set) text += labelled(page, "set", digest_text(*manifest.set));
  text += optional_label(page, "vehicle", manifest.vehicle_reference);
  text += labelled(page, "claimed", manifest.claimed_time + " by " + printable(manifest.tool));
  if (manifest.trial) text += labelled(page, "trial", "until " + manifest.expires, Mark::kCaution);
  std::string roles;
  for (const std::string& role : manifest.required_roles) roles += (roles.empty() ? "" : ", ") + role;
  text += labelled(page, "roles",
                   roles + (manifest.required_roles.size() == 1 ? " is required" : " are required"));
  if (opened.signers.empty()) text += labelled(page, "signature", "none", Mark::kCaution);
  for (const std::string& key : opened.signers)
    text += labelled(page, "signature", "by key " + key + ", not looked at");
  return text + lines_text(page, "notes", manifest.notes);
}

std::string controller_text(const OpenedBundle& opened, const Page& page) {
  const ManifestController& controller = opened.manifest.controller();
  std::string text = heading(page, "controller " + printable(controller.name));
  text += labelled(page, "region map",
                   printable(controller.map_name) + " version " + std::to_string(controller.map_version) +
                       " (" + controller.map_grade + ")");
  text += labelled(page, "map digest", digest_text(controller.map_digest));
  for (const ManifestMemory& memory : controller.memories) {
    std::uint64_t known = 0;
    for (const Range& range : memory.known) known += range.size();
    text += labelled(page, "memory",
                     printable(memory.name) + " " + range_text(memory.extent) + ", " +
                         (known == memory.extent.size() ? "all" : grouped(known) + " of") + " " +
                         counted(memory.extent.size(), "byte", "bytes") + " known");
  }
  for (const ManifestIdentity& field : controller.identity) {
    text += labelled(page, "field", printable(field.name) + ": \"" + printable(field.text) + "\"");
  }
  for (const ManifestBinding& field : controller.binding) {
    text += labelled(page, "binds",
                     printable(field.name) + ", " + named_range_text(field.place) +
                         (field.digest ? "" : ": says nothing here"));
  }
  for (const ManifestFile& file : controller.files) {
    text +=
        labelled(page, "file",
                 (file.memory.empty() ? "" : printable(file.memory) + ", ") + printable(file.form) + ", " +
                     counted(file.size, "byte", "bytes") + ", SHA-256 " + digest_text(file.digest));
  }
  return text;
}

std::string spans_text(const OpenedBundle& opened, const Page& page) {
  constexpr std::array kKinds = {SpanKind::kLocked,   SpanKind::kEditable, SpanKind::kDerived,
                                 SpanKind::kFloating, SpanKind::kVolatile, SpanKind::kBinding};
  Columns columns;
  for (const SpanKind kind : kKinds) {
    std::uint64_t spans = 0;
    std::uint64_t bytes = 0;
    std::uint64_t changed = 0;
    for (const ManifestSpan& span : opened.manifest.controller().spans) {
      if (span.kind != kind) continue;
      ++spans;
      bytes += span.place.range.size();
      if (span.before != span.after) ++changed;
    }
    if (spans == 0) continue;
    columns.add(
        {{std::string(kind_sign(page, kind)) + " " + std::string(span_kind_name(kind))},
         {counted(spans, "span", "spans"), Mark::kPlain, true},
         {counted(bytes, "byte", "bytes"), Mark::kPlain, true},
         {is_pinned(kind) ? (changed == 0 ? "none changed" : grouped(changed) + " changed") : "not pinned"}});
  }
  return heading(page, "spans") + columns.text(page, 2);
}

// Every memory to scale, with what changed in it.
std::string memories_text(const OpenedBundle& opened, const Page& page) {
  const ManifestController& controller = opened.manifest.controller();
  std::string text = heading(page, "memories");
  for (const ManifestMemory& memory : controller.memories) {
    StripView view;
    view.name = printable(memory.name);
    view.extent = memory.extent;
    RangeSet known;
    for (const Range& range : memory.known) known.add(range);
    for (const ManifestSpan& span : controller.spans) {
      if (span.place.memory != memory.name) continue;
      // A span is known whole or not at all.
      if (!known.contains(span.place.range.begin)) {
        view.unknown.add(span.place.range);
        continue;
      }
      const auto kind = std::ranges::find(kStripKinds, span.kind) - kStripKinds.begin();
      view.kinds[static_cast<std::size_t>(kind)].add(span.place.range);
    }
    for (const Change& change : opened.changes) {
      if (change.place.memory == memory.name) view.changed.add(change.place.range);
    }
    text += strip_text(view, page);
  }
  return text + strip_legend(page, StripMarks::kChanges);
}

std::string changes_text(const OpenedBundle& opened, const Page& page) {
  struct Group {
    std::string memory, region, option;
    std::uint64_t ranges = 0, bytes = 0;
  };
  constexpr std::size_t kMostGroups = 200;
  std::vector<Group> groups;
  for (const Change& change : opened.changes) {
    // Only neighbours are joined, so this stays linear however many regions a file claims.
    const bool same = !groups.empty() && groups.back().memory == change.place.memory &&
                      groups.back().region == change.region && groups.back().option == change.option;
    if (!same) groups.push_back({change.place.memory, change.region, change.option, 0, 0});
    ++groups.back().ranges;
    groups.back().bytes += change.place.range.size();
  }
  std::string text = heading(page, "changes against the base");
  if (groups.empty()) return text + "  none\n";
  Columns columns;
  for (std::size_t i = 0; i < groups.size() && i < kMostGroups; ++i) {
    const Group& group = groups[i];
    columns.add({{printable(group.memory)},
                 {group.region.empty() ? "(no region)" : printable(group.region)},
                 {counted(group.bytes, "byte", "bytes"), Mark::kPlain, true},
                 {counted(group.ranges, "range", "ranges"), Mark::kPlain, true},
                 {printable(group.option)}});
  }
  text += columns.text(page, 2);
  if (groups.size() > kMostGroups)
    text +=
        "  and " + counted(groups.size() - kMostGroups, "more row", "more rows") + " (--json lists them)\n";
  return text;
}

std::string patch_words(const ManifestPatch& patch) {
  const std::string now = patch.in_result ? ": applied" : ": not applied";
  return now + (patch.in_base == patch.in_result ? ", as in the base" : ", other than in the base");
}

std::string checks_text(const OpenedBundle& opened, const Page& page) {
  const ManifestController& controller = opened.manifest.controller();
  std::string text;
  if (!controller.checksums.empty()) {
    Columns columns;
    columns.add({{"checksum", Mark::kDim}, {"result", Mark::kDim}, {"value", Mark::kDim}});
    const auto value = [](const std::string& whole) {
      return whole.size() > 24 ? whole.substr(0, 24) + "..." : whole;
    };
    for (const ManifestChecksum& check : controller.checksums) {
      columns.add({{printable(check.name)},
                   {state_text(check.state), state_mark(check.state)},
                   {value(check.value)}});
    }
    text += heading(page, "checksums and copies, as claimed") + columns.text(page, 2);
  }
  for (const ManifestPatch& patch : controller.patches) {
    text += labelled(page, "patch", printable(patch.name) + patch_words(patch));
  }
  return text;
}

// Nothing in it is verified here: no trust file is asked for.
std::string approval_text(const std::string& file, const Page& page) {
  const Result<Approval> approval = read_approval(view_of(file), "approval");
  if (!approval) return labelled(page, "approval", "cannot be read", Mark::kCaution);
  return labelled(page, "approval",
                  "region map " + digest_text(approval->from).substr(0, 16) + " to " +
                      digest_text(approval->to).substr(0, 16) + ", " + approval->claimed_time + ": " +
                      printable(approval->text));
}

std::string account_text(const OpenedBundle& opened, const Page& page) {
  const Manifest& manifest = opened.manifest;
  std::string text;
  for (const ManifestOption& option : manifest.options)
    text += labelled(page, "option", printable(option.name) + ": " + printable(option.title));
  for (const std::string& line : manifest.requirements) text += labelled(page, "requires", printable(line));
  for (const std::string& line : manifest.cautions)
    text += labelled(page, "caution", printable(line), Mark::kCaution);
  for (const auto& [name, words] : manifest.annotations)
    text += labelled(page, "annotation", printable(name) + ": " + printable(words, 1000));
  for (const Sha256& digest : manifest.permitted_returns)
    text += labelled(page, "return to", digest_text(digest));
  for (const std::string& file : manifest.approvals) text += approval_text(file, page);
  return text.empty() ? text : heading(page, "said by the shop") + text;
}

std::string set_text(const OpenedBundle& opened, const Page& page) {
  if (!opened.set) return {};
  std::string text = heading(page, "set");
  std::string order;
  for (const SetMember& member : opened.set->members) {
    text += labelled(page, "member",
                     printable(member.controller) + ", base " + std::to_string(member.base) + ", sequence " +
                         std::to_string(member.sequence));
  }
  for (const std::string& controller : opened.set->write_order)
    order += (order.empty() ? "" : ", then ") + printable(controller);
  text += labelled(page, "write", order);
  return text + labelled(page, "between",
                         opened.set->drivable_between ? "may be driven between two writes"
                                                      : "must not be driven between two writes");
}

std::string entries_text(const OpenedBundle& opened, const Page& page) {
  Columns columns;
  for (const ManifestEntry& entry : opened.manifest.entries) {
    columns.add({{printable(entry.name)},
                 {counted(entry.size, "byte", "bytes"), Mark::kPlain, true},
                 {entry.deflated ? "deflated to " + grouped(entry.stored_size) : "stored"}});
  }
  return heading(page, "entries") + columns.text(page, 2);
}

}  // namespace

std::string bundle_text(const OpenedBundle& opened, const Page& page) {
  const std::string notice = page.painted(Mark::kCaution, kNotVerified) + "\n";
  std::string text = notice + "\n";
  text += labelled(page, "bundle", opened.name + ", " + counted(opened.file.size(), "byte", "bytes"));
  text += revision_text(opened, page) + controller_text(opened, page) + memories_text(opened, page) +
          spans_text(opened, page) + changes_text(opened, page);
  text += checks_text(opened, page) + account_text(opened, page) + set_text(opened, page) +
          entries_text(opened, page);
  return text + "\n" + notice;
}

}  // namespace calseal
