#include "calseal/archive/journal.h"

#include <algorithm>

#include "calseal/base/file.h"
#include "calseal/base/record.h"
#include "calseal/base/text.h"

namespace calseal {
namespace {

// A number as text: times before 1970 and large inodes are no JSON numbers of ours.
struct NumberText {
  void read(const JsonNode& node, std::int64_t& number) const {
    number = std::strtoll(node.text(24).c_str(), nullptr, 10);
  }
  void write(JsonText& text, std::int64_t number) const { text.value(std::to_string(number)); }
  void describe(JsonText& schema) const { Text{24}.describe(schema); }
};

void seen_fields(Fields& field, FileStatus& status) {
  field.object("seen", [&](Fields& seen) {
    seen("size", status.size, NumberText{});
    seen("modified", status.modified, NumberText{});
    seen("changed", status.changed, NumberText{});
    seen("inode", status.inode, NumberText{});
  });
}

std::string lines_of(const FileStatus& status, const FileFacts& facts) {
  std::string text = canonical_text(status, seen_fields) + "\n";
  for (const std::string& line : write_facts(facts)) text += line + "\n";
  return text;
}

Result<FileStatus> parse_seen(std::string_view line, const std::string& name) {
  Result<FileStatus> status = parse_fields(line, seen_fields, name);
  if (status) return status;
  Error error = std::move(status).error();
  error.reason = Reason::kAuditRecordInvalid;
  error.next = "run the audit again without --resume";
  return fail(std::move(error));
}

// Folders, depth, trust and part must agree; the tree may have changed since.
bool same_audit(AuditScope a, const AuditScope& b) {
  a.files = b.files;
  a.bytes = b.bytes;
  a.survey = b.survey;
  a.unreadable = b.unreadable;
  a.causes = b.causes;
  a.links = b.links;
  a.others = b.others;
  return a == b;
}

}  // namespace

Result<AuditJournal> AuditJournal::begin(const std::string& path, const AuditScope& scope,
                                         const Survey& survey, const std::vector<FileFacts>& known) {
  std::string text = write_scope(scope) + "\n";
  for (const FileFacts& facts : known) {
    if (const SurveyedFile* const file = survey.find(facts.path)) text += lines_of(file->status, facts);
  }
  CALSEAL_CHECK(write_file(path, view_of(text)));
  CALSEAL_ASSIGN(GrownFile file, GrownFile::open(path));
  return AuditJournal(std::move(file));
}

Status AuditJournal::note(const std::vector<const SurveyedFile*>& files,
                          const std::vector<FileFacts>& facts) {
  for (std::size_t i = 0; i < files.size(); ++i) waiting_ += lines_of(files[i]->status, facts[i]);
  return {};
}

Status AuditJournal::flush(bool now) {
  const auto time = std::chrono::steady_clock::now();
  if (waiting_.empty() || (!now && time - last_ < std::chrono::seconds(1))) return {};
  CALSEAL_CHECK(file_.append(waiting_));
  waiting_.clear();
  last_ = time;
  return {};
}

std::vector<FileFacts> SeenFiles::take(const std::vector<const SurveyedFile*>& files) {
  std::vector<FileFacts> all;
  for (const SurveyedFile* file : files) {
    const auto found = seen_.find(file->path);
    // A ledger is judged with files that lie elsewhere.
    if (found == seen_.end() || file->kind == FileKind::kLedgerEntries) return {};
    if (found->second.status != file->status) return {};
    all.push_back(found->second.facts);
  }
  return all;
}

Result<SeenFiles> read_journal(const std::string& path, const AuditScope& scope) {
  SeenFiles seen;
  Result<Bytes> bytes = read_file(path, kRecordSizeLimit);
  if (!bytes && bytes.error().reason == Reason::kFileMissing) return seen;
  if (!bytes) return fail(std::move(bytes).error());
  const std::string name = printable(path);
  const std::string_view text = text_of(*bytes);
  CALSEAL_ASSIGN(const AuditRecord record, parse_record(text.substr(0, text.find('\n') + 1), name));
  if (!same_audit(record.scope, scope)) {
    return fail({Reason::kAuditRecordOther, name, "line 1", "other folders, depth, trust file or part",
                 "what this audit is asked for", "finish it with the same options, or leave out --resume"});
  }
  // The status of a file stands before its facts.
  std::unordered_map<std::string, FileStatus> status;
  const FactsReader reader(name);
  std::optional<FileStatus> last;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = text.find('\n', at);
    if (end == std::string_view::npos) break;
    const std::string_view line = text.substr(at, end - at);
    at = end + 1;
    if (line.starts_with(R"({"seen":)")) {
      CALSEAL_ASSIGN(last, parse_seen(line, name));
    } else if (last && line.starts_with(R"({"file":)")) {
      std::vector<FileFacts> one;
      CALSEAL_CHECK(reader.take(line, one));
      std::string file = one.front().path;  // before the facts are moved away
      seen.seen_.insert_or_assign(std::move(file), SeenFiles::Seen{*last, std::move(one.front())});
      last.reset();
    }
  }
  return seen;
}

}  // namespace calseal
