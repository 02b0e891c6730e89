// SQLite as far as the index needs it: one connection, prepared statements, errors as values.
//
// Every value is bound; no text from outside ever becomes part of a statement.
#pragma once

#include <chrono>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"

struct sqlite3;
struct sqlite3_stmt;

namespace calseal {

// How long one waits for a database that another program holds.
inline constexpr std::chrono::milliseconds kLockWait{10'000};

class Database;

// One prepared statement. A failed step is remembered by the database; see Database::status().
class Query {
 public:
  Query(Database& database, std::string_view sql);
  Query(const Query&) = delete;
  Query& operator=(const Query&) = delete;
  ~Query();

  // Parameters from 1 on, in order of the calls after reset().
  Query& bind(std::string_view text);
  Query& bind(std::int64_t number);
  Query& bind(std::uint64_t number) { return bind(static_cast<std::int64_t>(number)); }
  Query& bind(const Sha256& digest);
  Query& bind(const std::optional<Sha256>& digest);
  Query& bind_blob(std::string_view bytes);

  bool step();   // true: a row is there
  void run();    // step to the end, and reset
  void reset();  // ready for the next values

  std::string text(int column) const;
  std::uint64_t number(int column) const;  // negative ones count as 0
  std::int64_t signed_number(int column) const;
  std::optional<Sha256> digest(int column) const;  // nothing unless 32 bytes stand there

 private:
  Database& database_;
  sqlite3_stmt* query_ = nullptr;
  int next_ = 1;
};

class Database {
 public:
  // `path` empty: in memory. Never follows a link in the last place. Waits up to `wait` for another writer.
  static Result<std::unique_ptr<Database>> open(const std::string& path,
                                                std::chrono::milliseconds wait = kLockWait);
  ~Database();
  Database(const Database&) = delete;
  Database& operator=(const Database&) = delete;

  void run(std::string_view sql);  // a statement of ours, without parameters
  // The first failure since the connection was opened, if any: kFileUnreadable.
  Status status() const;

 private:
  friend class Query;
  Database(sqlite3* connection, std::string shown) : connection_(connection), shown_(std::move(shown)) {}
  void note(int result);

  sqlite3* connection_;
  std::string shown_;
  std::optional<Error> error_;
};

}  // namespace calseal
