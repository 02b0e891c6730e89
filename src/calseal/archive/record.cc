#include "calseal/archive/record.h"

#include <algorithm>

#include "calseal/archive/path_text.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {
namespace {

constexpr std::size_t kRecordLimit = std::size_t{1} << 24;

constexpr List kPaths{kPath, kRecordLimit};

void scope_fields(Fields& field, AuditScope& scope) {
  field.kind_of_file("audit-record/1");
  field("folders", scope.folders, kPaths);
  field("depth", scope.depth, Choice{kDepthNames});
  field("trust", scope.trust, kDigest);
  field("roots", scope.roots, List{kDigest, 64});
  field("part", scope.part.number, Integer{1, kPartLimit});
  field("of", scope.part.of, Integer{scope.part.number, kPartLimit});
  field("files", scope.files, Integer{});
  field("bytes", scope.bytes, Integer{});
  field("survey", scope.survey, kDigest);
  field("unreadable", scope.unreadable, kPaths);
  field.unless({}, "causes", scope.causes, List{Text{kLineLimit}, kRecordLimit});
  field("links", scope.links, kPaths);
  field("others", scope.others, kPaths);
}

Error invalid(const std::string& name, std::uint64_t line, std::string found, std::string expected) {
  return {Reason::kAuditRecordInvalid,
          name,
          "line " + std::to_string(line),
          std::move(found),
          std::move(expected),
          "run the audit again"};
}

Result<AuditScope> parse_scope(std::string_view line, const std::string& name) {
  const auto parse = [&]() -> Result<AuditScope> {
    CALSEAL_CHECK(check_kind(view_of(line), kRecordLiteral, name));
    return parse_fields(line, scope_fields, name);
  };
  Result<AuditScope> scope = parse();
  if (scope) return scope;
  Error error = std::move(scope).error();
  error.reason = Reason::kAuditRecordInvalid;
  return fail(std::move(error));
}

std::string end_line(std::uint64_t files, const Sha256& digest) {
  return canonical_json(json_object({{"end", json(files)}, {"digest", json_digest(digest)}}));
}

bool ascending(const std::vector<FileFacts>& files) {
  return std::ranges::adjacent_find(
             files, [](const FileFacts& a, const FileFacts& b) { return a.path >= b.path; }) == files.end();
}

tl::unexpected<Error> not_together(const std::string& place, std::string found, std::string expected) {
  return fail({Reason::kAuditRecordOther, "", place, std::move(found), std::move(expected),
               "give the records of all parts of one audit, each once"});
}

}  // namespace

AuditScope scope_of(const Survey& survey) {
  AuditScope scope;
  scope.folders = survey.folders;
  scope.files = survey.files.size();
  scope.bytes = survey.bytes();
  scope.survey = survey.digest();
  for (const UnseenPlace& place : survey.unreadable) {
    scope.unreadable.push_back(place.path);
    scope.causes.push_back(place.cause);
  }
  scope.links = survey.links;
  scope.others = survey.others;
  return scope;
}

const FileFacts* AuditRecord::find(std::string_view path) const {
  const auto at = std::ranges::lower_bound(files, path, {}, &FileFacts::path);
  return at != files.end() && at->path == path ? &*at : nullptr;
}

std::string write_scope(const AuditScope& scope) { return canonical_text(scope, scope_fields); }

std::string write_record(const AuditRecord& record) {
  std::string text = write_scope(record.scope) + "\n";
  for (const FileFacts& facts : record.files) {
    for (const std::string& line : write_facts(facts)) text += line + "\n";
  }
  if (record.whole) text += end_line(record.files.size(), compute_sha256(view_of(text))) + "\n";
  return text;
}

Result<AuditRecord> parse_record(std::string_view text, const std::string& name) {
  AuditRecord record;
  record.whole = false;
  const FactsReader reader(name);
  std::uint64_t number = 0;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = text.find('\n', at);
    if (end == std::string_view::npos) break;  // cut off while it was written
    const std::string_view line = text.substr(at, end - at);
    ++number;
    if (number == 1) {
      CALSEAL_ASSIGN(record.scope, parse_scope(line, name));
    } else if (line.starts_with(R"({"end":)")) {
      if (line != end_line(record.files.size(), compute_sha256(view_of(text.substr(0, at)))))
        return fail(invalid(name, number, "another number or digest", "that of the lines before it"));
      if (end + 1 != text.size()) return fail(invalid(name, number, "more lines", "the end of the file"));
      record.whole = true;
    } else if (!line.starts_with(R"({"seen":)")) {
      CALSEAL_CHECK(reader.take(line, record.files));
    }
    at = end + 1;
  }
  if (number == 0) return fail(invalid(name, 1, "nothing", "what was audited"));
  if (!ascending(record.files)) {
    if (record.whole) return fail(invalid(name, 2, "files out of order", "files ascending by path"));
    std::ranges::stable_sort(record.files, {}, &FileFacts::path);
  }
  return record;
}

Result<AuditRecord> join_records(std::vector<AuditRecord> parts) {
  if (parts.empty()) return not_together("records", "none", "at least one");
  std::ranges::stable_sort(parts, {}, [](const AuditRecord& part) { return part.scope.part.number; });
  AuditScope expected = parts.front().scope;
  if (parts.size() != expected.part.of) {
    return not_together("records", std::to_string(parts.size()) + " of them",
                        "the " + std::to_string(expected.part.of) + " parts of the audit");
  }
  AuditRecord joined;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    AuditRecord& part = parts[i];
    const std::string place = "part " + std::to_string(part.scope.part.number);
    expected.part.number = i + 1;
    if (part.scope != expected) {
      return not_together(place, "another part, depth, trust file or tree",
                          "part " + std::to_string(i + 1) + " of the same audit over the same tree");
    }
    if (!part.whole)
      return not_together(place, "a part that was cut off", "a whole part: run it with --resume");
    std::ranges::move(part.files, std::back_inserter(joined.files));
  }
  std::ranges::sort(joined.files, {}, &FileFacts::path);
  joined.scope = expected;
  joined.scope.part = {};
  if (!ascending(joined.files) || joined.files.size() != joined.scope.files)
    return not_together("files", grouped(joined.files.size()) + " of them",
                        grouped(joined.scope.files) + ", each once");
  return joined;
}

}  // namespace calseal
