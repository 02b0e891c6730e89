#include "calseal/query/database.h"

#include <sqlite3.h>

#include <algorithm>

#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr int kValueLimit = 1 << 20;  // bytes of one text or blob

Error broken(const std::string& shown, const char* words) {
  return {Reason::kFileUnreadable,
          shown,
          "",
          printable(words),
          "an index that calseal made",
          "remove the file: the index is made again from the bundles"};
}

}  // namespace

Result<std::unique_ptr<Database>> Database::open(const std::string& path,
                                                 std::chrono::milliseconds wait) {
  sqlite3* connection = nullptr;
  const std::string shown = path.empty() ? "index in memory" : printable(path);
  const int flags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_NOFOLLOW | SQLITE_OPEN_NOMUTEX;
  // A path of ours never begins like a URI, and URIs stay switched off.
  const int opened = sqlite3_open_v2(path.empty() ? ":memory:" : path.c_str(), &connection, flags, nullptr);
  if (opened != SQLITE_OK) {
    Error error = broken(shown, connection == nullptr ? "no memory" : sqlite3_errmsg(connection));
    sqlite3_close(connection);
    return fail(std::move(error));
  }
  // The file may come from anybody: no triggers, no views, no functions with effects, checked cells.
  sqlite3_db_config(connection, SQLITE_DBCONFIG_DEFENSIVE, 1, nullptr);
  sqlite3_db_config(connection, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, nullptr);
  sqlite3_db_config(connection, SQLITE_DBCONFIG_ENABLE_TRIGGER, 0, nullptr);
  sqlite3_db_config(connection, SQLITE_DBCONFIG_ENABLE_VIEW, 0, nullptr);
  sqlite3_limit(connection, SQLITE_LIMIT_LENGTH, kValueLimit);
  sqlite3_limit(connection, SQLITE_LIMIT_ATTACHED, 0);
  sqlite3_busy_timeout(connection, static_cast<int>(wait.count()));
  std::unique_ptr<Database> database(new Database(connection, shown));
  database->run("PRAGMA cell_size_check=ON");
  database->run("PRAGMA mmap_size=0");
  CALSEAL_CHECK(database->status());
  return database;
}

Database::~Database() { sqlite3_close(connection_); }

void Database::note(int result) {
  if (result == SQLITE_OK || result == SQLITE_ROW || result == SQLITE_DONE || error_) return;
  error_ = broken(shown_, sqlite3_errmsg(connection_));
}

void Database::run(std::string_view sql) {
  if (error_) return;
  note(sqlite3_exec(connection_, std::string(sql).c_str(), nullptr, nullptr, nullptr));
}

Status Database::status() const {
  if (error_) return fail(*error_);
  return {};
}

Query::Query(Database& database, std::string_view sql) : database_(database) {
  if (database_.error_) return;
  database_.note(
      sqlite3_prepare_v2(database_.connection_, sql.data(), static_cast<int>(sql.size()), &query_, nullptr));
}

Query::~Query() { sqlite3_finalize(query_); }

Query& Query::bind(std::string_view text) {
  if (query_ != nullptr) {
    database_.note(
        sqlite3_bind_text(query_, next_++, text.data(), static_cast<int>(text.size()), SQLITE_TRANSIENT));
  }
  return *this;
}

Query& Query::bind(std::int64_t number) {
  if (query_ != nullptr) database_.note(sqlite3_bind_int64(query_, next_++, number));
  return *this;
}

Query& Query::bind_blob(std::string_view bytes) {
  if (query_ != nullptr) {
    database_.note(
        sqlite3_bind_blob(query_, next_++, bytes.data(), static_cast<int>(bytes.size()), SQLITE_TRANSIENT));
  }
  return *this;
}

Query& Query::bind(const Sha256& digest) { return bind_blob(text_of(digest.bytes)); }

Query& Query::bind(const std::optional<Sha256>& digest) {
  if (digest) return bind(*digest);
  if (query_ != nullptr) database_.note(sqlite3_bind_null(query_, next_++));
  return *this;
}

bool Query::step() {
  if (query_ == nullptr || database_.error_) return false;
  const int result = sqlite3_step(query_);
  database_.note(result);
  return result == SQLITE_ROW;
}

void Query::run() {
  while (step()) {
  }
  reset();
}

void Query::reset() {
  if (query_ != nullptr) {
    sqlite3_reset(query_);
    sqlite3_clear_bindings(query_);
  }
  next_ = 1;
}

std::string Query::text(int column) const {
  const void* const bytes = sqlite3_column_blob(query_, column);
  const int size = sqlite3_column_bytes(query_, column);
  return bytes == nullptr ? std::string()
                          : std::string(static_cast<const char*>(bytes), static_cast<std::size_t>(size));
}

std::int64_t Query::signed_number(int column) const { return sqlite3_column_int64(query_, column); }

std::uint64_t Query::number(int column) const {
  return static_cast<std::uint64_t>(std::max<std::int64_t>(0, signed_number(column)));
}

std::optional<Sha256> Query::digest(int column) const {
  const std::string bytes = text(column);
  Sha256 digest;
  if (bytes.size() != digest.bytes.size()) return std::nullopt;
  std::ranges::copy(view_of(bytes), digest.bytes.begin());
  return digest;
}

}  // namespace calseal
