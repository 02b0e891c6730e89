// Published vectors from fixtures/vectors/. A missing file, an unknown field or an empty list is a failure,
// never a test that silently checks nothing.
#pragma once

#include <gtest/gtest.h>

#include <functional>
#include <iostream>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "calseal/base/file.h"
#include "calseal/base/json.h"
#include "calseal/base/json_reader.h"
#include "support/fixtures.h"

namespace calseal {

inline std::string vector_path(const std::string& name) { return fixtures() + "/vectors/" + name; }

// Reads one vector text: `read` takes every member but "source", which is checked here.
inline Status read_vector_text(const std::string& text, const std::string& name,
                               const std::function<void(JsonObject&)>& read) {
  CALSEAL_ASSIGN(const JsonTree tree, JsonTree::parse(text, name));
  JsonDocument document(text, name);
  const JsonNode node(document, tree);
  JsonObject root(node);
  const std::vector<JsonNode> sources = root.items("source", 16);
  if (document.ok() && sources.empty())
    node.refuse(Reason::kJsonValue, "no source", "where the values come from");
  for (const JsonNode& source : sources) source.text();
  read(root);
  root.done();
  if (!document.ok()) return fail(document.error());
  return {};
}

// The rows of the list `key`, one call of `read` each. No rows after any fault, so that a parametrised suite
// over them counts as not instantiated, which GoogleTest reports as a failure; the fault goes to stderr.
template <typename Row>
std::vector<Row> vector_rows_of(const std::string& text, const std::string& name, const std::string& key,
                                const std::function<Row(JsonObject&)>& read) {
  std::vector<Row> rows;
  const Status status = read_vector_text(text, name, [&](JsonObject& root) {
    for (const JsonNode& node : root.items(key, 100000)) {
      JsonObject object(node);
      rows.push_back(read(object));
      object.done();
    }
  });
  if (status.has_value()) return rows;
  const Error& error = status.error();
  std::cerr << error.file << ", " << error.place << ": found " << error.found << ", expected "
            << error.expected << "\n";
  return {};
}

template <typename Row>
std::vector<Row> vector_rows(const std::string& name, const std::string& key,
                             const std::function<Row(JsonObject&)>& read) {
  const Result<Bytes> bytes = read_file(vector_path(name), std::uint64_t{16} << 20);
  if (!bytes) {
    std::cerr << vector_path(name) << " cannot be read\n";
    return {};
  }
  return vector_rows_of<Row>(std::string(text_of(*bytes)), name, key, read);
}

// The bytes of "hex", repeated "repeat" times where that is given.
inline Bytes vector_message(JsonObject& row) {
  const Bytes once = row.hex("hex", 0, std::size_t{1} << 16);
  const std::uint64_t times = row.has("repeat") ? row.integer("repeat", 1, 1 << 20) : 1;
  Bytes whole;
  whole.reserve(once.size() * times);
  for (std::uint64_t i = 0; i < times; ++i) whole.insert(whole.end(), once.begin(), once.end());
  return whole;
}

// Letters and digits only, as GoogleTest wants its names.
inline std::string test_name(std::string_view text) {
  std::string name;
  for (const char c : text) {
    const bool plain = (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
    name.push_back(plain ? c : '_');
  }
  return name;
}

}  // namespace calseal
