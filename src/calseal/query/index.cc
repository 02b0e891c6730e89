#include "calseal/query/index.h"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <optional>
#include <unordered_map>

#include "calseal/archive/walk.h"
#include "calseal/base/text.h"
#include "calseal/base/utc_time.h"
#include "calseal/map/region_map.h"
#include "calseal/query/bundle_facts.h"

namespace calseal {
namespace {

constexpr std::int64_t kIndexVersion = 2;     // another layout gets another number
constexpr std::uint64_t kProgressEvery = 64;  // files

constexpr const char* kTables[] = {"files", "revisions", "spans",    "changes", "options",
                                   "items", "signers",   "identity", "stock"};

constexpr std::string_view kSchema = R"(
CREATE TABLE built(version INTEGER NOT NULL, time TEXT NOT NULL);
CREATE TABLE files(file INTEGER PRIMARY KEY, path BLOB NOT NULL UNIQUE, size INTEGER NOT NULL,
  modified INTEGER NOT NULL, changed INTEGER NOT NULL, inode INTEGER NOT NULL, reason TEXT NOT NULL);
CREATE TABLE revisions(file INTEGER PRIMARY KEY, identity BLOB NOT NULL, job TEXT NOT NULL, controller TEXT NOT NULL,
  base INTEGER NOT NULL, revision INTEGER NOT NULL, sequence INTEGER NOT NULL, parent BLOB, title TEXT NOT NULL,
  time TEXT NOT NULL, vehicle TEXT NOT NULL, map BLOB NOT NULL, pinned_before BLOB NOT NULL, pinned_after BLOB NOT NULL);
CREATE TABLE spans(file INTEGER NOT NULL, memory TEXT NOT NULL, first INTEGER NOT NULL, past INTEGER NOT NULL,
  kind INTEGER NOT NULL, before BLOB, after BLOB);
CREATE TABLE changes(file INTEGER NOT NULL, memory TEXT NOT NULL, first INTEGER NOT NULL, past INTEGER NOT NULL,
  region TEXT NOT NULL);
CREATE TABLE options(file INTEGER NOT NULL, name TEXT NOT NULL);
CREATE TABLE items(file INTEGER NOT NULL, name TEXT NOT NULL);
CREATE TABLE signers(file INTEGER NOT NULL, key BLOB NOT NULL);
CREATE TABLE identity(file INTEGER NOT NULL, kind TEXT NOT NULL, value TEXT NOT NULL);
CREATE TABLE stock(file INTEGER NOT NULL, digest BLOB NOT NULL);
CREATE INDEX spans_of ON spans(file);
CREATE INDEX changes_of ON changes(file);
CREATE INDEX changes_at ON changes(memory, first);
CREATE INDEX changes_in ON changes(region);
CREATE INDEX options_of ON options(file);
CREATE INDEX options_by ON options(name);
CREATE INDEX items_of ON items(file);
CREATE INDEX items_by ON items(name);
CREATE INDEX signers_of ON signers(file);
CREATE INDEX signers_by ON signers(key);
CREATE INDEX identity_of ON identity(file);
CREATE INDEX identity_by ON identity(value);
CREATE INDEX stock_of ON stock(file);
CREATE INDEX stock_by ON stock(digest);
CREATE INDEX revisions_by_identity ON revisions(identity);
CREATE INDEX revisions_by_job ON revisions(job, controller, base);
CREATE INDEX revisions_by_map ON revisions(map);
CREATE INDEX revisions_by_after ON revisions(pinned_after);
)";

// Every object of the schema as SQLite keeps it: an index with anything else in it is not ours.
std::string objects_of(Database& database) {
  std::string text;
  Query statement(database, "SELECT type, name, sql FROM sqlite_schema ORDER BY name");
  while (statement.step())
    text += statement.text(0) + "\t" + statement.text(1) + "\t" + statement.text(2) + "\n";
  return text;
}

Result<std::string> objects_expected() {
  CALSEAL_ASSIGN(const std::unique_ptr<Database> model, Database::open(""));
  model->run(kSchema);
  std::string text = objects_of(*model);
  CALSEAL_CHECK(model->status());
  return text;
}

// Writes rows about files; statements are prepared once.
class Writer {
 public:
  explicit Writer(Database& database)
      : file_(database, "INSERT INTO files VALUES(?,?,?,?,?,?,?)"),
        revision_(database, "INSERT INTO revisions VALUES(?,?,?,?,?,?,?,?,?,?,?,?,?,?)"),
        span_(database, "INSERT INTO spans VALUES(?,?,?,?,?,?,?)"),
        change_(database, "INSERT INTO changes VALUES(?,?,?,?,?)"),
        option_(database, "INSERT INTO options VALUES(?,?)"),
        item_(database, "INSERT INTO items VALUES(?,?)"),
        signer_(database, "INSERT INTO signers VALUES(?,?)"),
        identity_(database, "INSERT INTO identity VALUES(?,?,?)"),
        stock_(database, "INSERT INTO stock VALUES(?,?)") {}

  void file(std::int64_t id, const TreeFile& file, std::string_view reason) {
    file_.bind(id).bind_blob(file.path).bind(file.size).bind(file.modified).bind(file.changed);
    file_.bind(file.inode).bind(reason).run();
  }

  void facts(std::int64_t id, const BundleFacts& facts) {
    const Manifest& manifest = facts.manifest;
    const ManifestController& controller = manifest.controller();
    revision_.bind(id).bind(facts.digest).bind(manifest.job).bind(controller.name);
    revision_.bind(manifest.base_number)
        .bind(manifest.revision)
        .bind(manifest.sequence)
        .bind(manifest.parent);
    revision_.bind(manifest.title).bind(manifest.claimed_time).bind(manifest.vehicle_reference);
    revision_.bind(controller.map_digest).bind(controller.pinned_before).bind(controller.pinned_after).run();
    for (const ManifestSpan& span : controller.spans) {
      span_.bind(id).bind(span.place.memory).bind(span.place.range.begin).bind(span.place.range.end);
      span_.bind(static_cast<std::int64_t>(span.kind)).bind(span.before).bind(span.after).run();
    }
    for (const Change& change : facts.changes) {
      change_.bind(id).bind(change.place.memory).bind(change.place.range.begin);
      change_.bind(change.place.range.end).bind(change.region).run();
    }
    for (const ManifestOption& option : manifest.options) option_.bind(id).bind(option.name).run();
    for (const std::string& item : facts.items) item_.bind(id).bind(item).run();
    for (const Sha256& key : facts.signers) signer_.bind(id).bind(key).run();
    for (std::size_t i = 0; i < controller.identity.size(); ++i)
      identity_.bind(id).bind(facts.identity_kinds[i]).bind(controller.identity[i].text).run();
    if (manifest.revision == 0) {
      for (const ManifestFile& file : controller.files) stock_.bind(id).bind(file.digest).run();
    }
  }

 private:
  Query file_, revision_, span_, change_, option_, item_, signer_, identity_, stock_;
};

struct KnownFile {
  std::int64_t id = 0;
  TreeFile file;
};
bool same(const TreeFile& a, const TreeFile& b) {
  return a.size == b.size && a.modified == b.modified && a.changed == b.changed && a.inode == b.inode;
}

std::unordered_map<std::string, KnownFile> known_files(Database& database) {
  std::unordered_map<std::string, KnownFile> known;
  Query statement(database, "SELECT file, path, size, modified, changed, inode FROM files");
  while (statement.step()) {
    TreeFile file{{statement.signed_number(2), statement.signed_number(3), statement.signed_number(4),
                   statement.signed_number(5)},
                  statement.text(1)};
    std::string path = file.path;
    known.insert_or_assign(std::move(path), KnownFile{statement.signed_number(0), std::move(file)});
  }
  return known;
}

void forget(Database& database, const std::vector<std::int64_t>& files) {
  for (const char* const table : kTables) {
    Query statement(database, "DELETE FROM " + std::string(table) + " WHERE file=?");
    for (const std::int64_t file : files) statement.bind(file).run();
  }
}

// Such a failure says nothing about the file: the next reading may do better.
bool may_pass(Reason reason) {
  return reason == Reason::kFileUnreadable || reason == Reason::kFileMissing ||
         reason == Reason::kOutOfMemory;
}

// Nothing for a file that is no bundle.
Result<std::optional<BundleFacts>> read_if_bundle(const std::string& path) {
  CALSEAL_ASSIGN(const bool is_bundle, looks_like_bundle(path));
  if (!is_bundle) return std::optional<BundleFacts>();
  CALSEAL_ASSIGN(BundleFacts facts, read_bundle_facts(path));
  return std::optional<BundleFacts>(std::move(facts));
}

void read_files(Index& index, const std::vector<const TreeFile*>& files, const IndexOptions& options) {
  Query highest(*index.database, "SELECT coalesce(max(file), 0) FROM files");
  std::int64_t next = highest.step() ? highest.signed_number(0) : 0;
  highest.reset();
  Writer writer(*index.database);
  for (std::size_t i = 0; i < files.size(); ++i) {
    if (options.progress && i % kProgressEvery == 0) options.progress(i, files.size());
    const Result<std::optional<BundleFacts>> facts = read_if_bundle(index.folder + "/" + files[i]->path);
    if (!facts && may_pass(facts.error().reason)) {
      index.unread.push_back({files[i]->path, std::string(code(facts.error().reason))});
      continue;
    }
    ++next;
    writer.file(next, *files[i], !facts ? code(facts.error().reason) : *facts ? "" : "no-bundle");
    if (facts && *facts) writer.facts(next, **facts);
  }
}

void compare_with_tree(Index& index, const Tree& tree, const IndexOptions& options) {
  Database& database = *index.database;
  auto known = known_files(database);
  std::vector<const TreeFile*> fresh;
  std::vector<std::int64_t> outdated;
  for (const TreeFile& file : tree.files) {
    const auto found = known.find(file.path);
    if (found == known.end()) {
      fresh.push_back(&file);
      continue;
    }
    if (!same(found->second.file, file)) {
      fresh.push_back(&file);
      outdated.push_back(found->second.id);
    }
    known.erase(found);
  }
  index.gone = known.size();
  index.read = fresh.size();
  for (const auto& [path, file] : known) outdated.push_back(file.id);
  if (fresh.empty() && outdated.empty()) return;
  std::ranges::sort(fresh, {}, &TreeFile::path);
  forget(database, outdated);
  read_files(index, fresh, options);
  index.built = time_text(current_time());
  database.run("DELETE FROM built");
  Query(database, "INSERT INTO built VALUES(?,?)").bind(kIndexVersion).bind(index.built).run();
}

void read_summary(Index& index, const Tree& tree) {
  Database& database = *index.database;
  Query count(database, "SELECT count(*) FROM revisions");
  if (count.step()) index.bundles = count.number(0);
  Query built(database, "SELECT time FROM built");
  if (built.step()) index.built = built.text(0);
  Query unread(database,
               "SELECT path, reason FROM files WHERE reason NOT IN ('', 'no-bundle') ORDER BY path");
  while (unread.step()) index.unread.push_back({unread.text(0), unread.text(1)});
  for (const UnseenPlace& place : tree.unreadable)
    index.unread.push_back({place.path, std::string(code(Reason::kFileUnreadable))});
  std::ranges::sort(index.unread, {}, &UnreadFile::path);
}

// Writers take turns: the system's lock on the folder, which leaves nothing behind.
class WriterLock {
 public:
  explicit WriterLock(const std::string& folder)
      : fd_(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC)) {
    while (fd_ >= 0 && ::flock(fd_, LOCK_EX) != 0) {
      if (errno == EINTR) continue;
      ::close(fd_);
      fd_ = -1;
    }
  }
  WriterLock(const WriterLock&) = delete;
  WriterLock& operator=(const WriterLock&) = delete;
  ~WriterLock() {
    if (fd_ >= 0) ::close(fd_);
  }
  bool held() const { return fd_ >= 0; }

 private:
  int fd_;
};

enum class Condition : std::uint8_t { kEmpty, kOutdated, kCurrent, kNotOurs };

// What stands in a database, compared with our schema and the files.
Condition condition_of(Database& database, const std::string& schema, const Tree& tree) {
  const std::string objects = objects_of(database);
  if (!database.status()) return Condition::kNotOurs;
  if (objects.empty()) return Condition::kEmpty;
  if (objects != schema) return Condition::kNotOurs;
  Query version(database, "SELECT version FROM built");
  if (!version.step() || version.signed_number(0) != kIndexVersion) return Condition::kNotOurs;
  const auto known = known_files(database);
  const bool current = known.size() == tree.files.size() &&
                       std::all_of(tree.files.begin(), tree.files.end(), [&](const TreeFile& at) {
                         const auto found = known.find(at.path);
                         return found != known.end() && same(found->second.file, at);
                       });
  if (!database.status()) return Condition::kNotOurs;
  return current ? Condition::kCurrent : Condition::kOutdated;
}

// All that has changed, in one transaction: a run cut off anywhere leaves the index as it was.
Status update(Index& index, const std::string& schema, const Tree& tree, const IndexOptions& options) {
  Database& database = *index.database;
  database.run("BEGIN IMMEDIATE");
  const Condition condition = condition_of(database, schema, tree);
  if (condition == Condition::kNotOurs) {
    return fail({Reason::kFileUnreadable, "", "", "another index", "the index of this version", "remove it"});
  }
  index.rebuilt = condition == Condition::kEmpty || options.rebuild;
  if (condition == Condition::kEmpty) {
    database.run(kSchema);
    Query(database, "INSERT INTO built VALUES(?,?)")
        .bind(kIndexVersion)
        .bind(time_text(current_time()))
        .run();
  }
  if (options.rebuild) {
    for (const char* const table : kTables) database.run("DELETE FROM " + std::string(table));
  }
  compare_with_tree(index, tree, options);
  database.run("COMMIT");
  read_summary(index, tree);
  return database.status();
}

Status open_and_update(Index& index, const std::string& folder, const std::string& file,
                       const std::string& schema, const Tree& tree, const IndexOptions& options) {
  index = Index();
  index.kept = !file.empty();
  index.folder = folder;
  CALSEAL_ASSIGN(index.database, Database::open(file, options.wait));
  return update(index, schema, tree, options);
}

}  // namespace

Result<Index> open_index(const std::string& folder, const IndexOptions& options) {
  CALSEAL_ASSIGN(const Tree tree, list_tree(folder));
  CALSEAL_ASSIGN(const std::string schema, objects_expected());
  const std::string file = folder + "/" + std::string(kIndexName);
  Index index;
  if (!options.rebuild && ::access(file.c_str(), F_OK) == 0) {
    Result<std::unique_ptr<Database>> database = Database::open(file, options.wait);
    if (database && condition_of(**database, schema, tree) == Condition::kCurrent) {
      index.folder = folder;
      index.kept = true;
      index.database = std::move(*database);
      read_summary(index, tree);
      // Damage may lie where only the summary looks.
      if (index.database->status()) return index;
      index = Index();
    }
  }
  if (const WriterLock lock(folder); lock.held()) {
    if (open_and_update(index, folder, file, schema, tree, options)) return index;
    // What stands there is of no use. Whoever still has it open reads on undisturbed.
    index = Index();
    ::unlink((file + "-journal").c_str());
    ::unlink(file.c_str());
    if (open_and_update(index, folder, file, schema, tree, options)) return index;
    index = Index();
  }
  CALSEAL_CHECK(open_and_update(index, folder, "", schema, tree, options));
  return index;
}

}  // namespace calseal
