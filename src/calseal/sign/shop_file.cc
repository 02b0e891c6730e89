#include "calseal/sign/shop_file.h"

#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <filesystem>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/record.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {
namespace {

constexpr std::string_view kShopFormat = "shop/1";

// What the system can open: not empty, without control characters.
struct Path : Text {
  Path() : Text{kShopPathLimit} {}
  void read(const JsonNode& node, std::string& value) const {
    Text::read(node, value);
    if (!node.document().ok()) return;
    if (value.empty() || printable(value, value.size()) != value)
      node.refuse(Reason::kJsonValue, "\"" + printable(value, 60) + "\"",
                  "a path without control characters");
  }
};
const Path kPath;
const List<Path> kPaths{kPath, kShopListLimit};

Error foreign(const std::string& path, std::string found) {
  return {Reason::kShopFileForeign,
          printable(path),
          "",
          std::move(found),
          "yours or root's, and nobody else may write to it or put another file in its place",
          "look at it before you use it; chown and chmod make it yours alone, and --shop names another one"};
}

using Look = int (*)(const char* path, struct stat* status);

// `writable`: the permissions that it must not give.
Status require_ours(const std::string& path, Look look, mode_t writable) {
  struct stat status {};
  if (look(path.c_str(), &status) != 0) {
    if (errno == ENOENT || errno == ENOTDIR)
      return fail({Reason::kFileMissing, printable(path), "", "nothing of that name", "a shop file",
                   "check the name; calseal shop new makes one"});
    return fail({Reason::kFileUnreadable, printable(path), "", std::strerror(errno),
                 "a file that you may read", "check the name and the permissions"});
  }
  if (status.st_uid != 0 && status.st_uid != ::geteuid())
    return fail(foreign(path, "the property of user " + std::to_string(status.st_uid)));
  if ((status.st_mode & writable) != 0) return fail(foreign(path, "others may write to it"));
  return {};
}

// The kind decides before anything else: another format has other keys.
void read_kind(JsonObject& top) {
  const auto node = top.required("calseal");
  if (!node) return;
  const std::string kind = node->text();
  if (kind == kShopFormat || !node->is_text()) return;
  node->refuse(kind.starts_with("shop/") ? Reason::kFormatUnknown : Reason::kTypeWrong,
               "\"" + printable(kind, 60) + "\"", "\"" + std::string(kShopFormat) + "\"");
}

Result<Shop> parse_shop(std::string_view text, const std::string& name) {
  CALSEAL_ASSIGN(const JsonTree tree, JsonTree::parse(text, name));
  JsonDocument document(text, name);
  const JsonNode root(document, tree);
  JsonObject top(root);
  read_kind(top);
  if (!document.ok()) return fail(document.error());
  Shop shop = read_record(root, shop_fields);
  if (!document.ok()) return fail(document.error());
  return shop;
}

void resolve(std::string& path, const std::filesystem::path& folder) {
  if (!path.empty()) path = (folder / path).string();
}

}  // namespace

void shop_fields(Fields& field, Shop& shop) {
  field.kind_of_file(kShopFormat);
  field("name", shop.name, kLine);
  field.unless({}, "author_keys", shop.author_keys, kPaths);
  field("trust", shop.trust, kPath);
  field.unless({}, "withdrawal_keys", shop.withdrawal_keys, kPaths);
  field.unless({}, "ledger_key", shop.ledger_key, kPath);
  field.unless({}, "regions", shop.regions, kPaths);
  field.unless({}, "stocks", shop.stocks, kPath);
  field.unless({}, "ledger", shop.ledger, kPath);
  field.unless({}, "options", shop.options, kPath);
  field.unless({}, "withdrawals", shop.withdrawals, kPath);
  field.unless({}, "parcel_key", shop.parcel_key, kPath);
}

std::string write_shop(const Shop& shop) {
  std::string text;
  for (const JsonMember& member : record_json(shop, shop_fields).members) {
    text += text.empty() ? "{\n  " : ",\n  ";
    append_canonical_string(text, member.first);
    text += ": " + canonical_json(member.second);
  }
  return text + "\n}\n";
}

Result<Shop> read_shop(const std::string& path) {
  CALSEAL_CHECK(require_ours(path, ::lstat, 0));  // a link decides which file is used
  std::error_code error;
  const std::filesystem::path real = std::filesystem::canonical(path, error);
  const std::string file = error ? path : real.string();
  CALSEAL_CHECK(require_ours(file, ::stat, S_IWGRP | S_IWOTH));
  const std::filesystem::path folder = real.parent_path();
  // Where each user has a group of his own, folders are made writable for it.
  CALSEAL_CHECK(require_ours(folder.string(), ::stat, S_IWOTH));
  CALSEAL_ASSIGN(const Bytes text, read_file(file, kShopFileLimit));
  CALSEAL_ASSIGN(Shop shop, parse_shop(text_of(text), printable(file)));
  shop.file = file;
  for (auto* one : {&shop.trust, &shop.ledger_key, &shop.stocks, &shop.ledger, &shop.options,
                    &shop.withdrawals, &shop.parcel_key})
    resolve(*one, folder);
  for (auto* list : {&shop.author_keys, &shop.withdrawal_keys, &shop.regions}) {
    for (std::string& one : *list) resolve(one, folder);
  }
  return shop;
}

Status require_own_word(const std::string& path) {
  CALSEAL_CHECK(require_ours(path, ::lstat, 0));
  std::error_code error;
  const std::filesystem::path real = std::filesystem::canonical(path, error);
  for (const std::string& one : {error ? path : real.string(), real.parent_path().string()})
    CALSEAL_CHECK(require_ours(one, ::stat, S_IWOTH));
  return {};
}

std::optional<std::string> nearest_shop_file(const std::string& from) {
  std::error_code error;
  const auto start =
      std::filesystem::weakly_canonical(std::filesystem::absolute(from.empty() ? "." : from, error), error);
  if (error) return std::nullopt;
  for (std::filesystem::path folder = start;; folder = folder.parent_path()) {
    const std::string path = (folder / kShopFileName).string();
    struct stat status {};
    // What cannot be looked at is refused there, and not passed over.
    if (::lstat(path.c_str(), &status) == 0 || (errno != ENOENT && errno != ENOTDIR)) return path;
    if (!folder.has_relative_path()) return std::nullopt;
  }
}

Result<std::optional<Shop>> find_shop(const ShopSearch& search) {
  for (const std::string* path : {&search.stated, &search.environment}) {
    if (!path->empty()) return read_shop(*path);
  }
  const std::optional<std::string> nearest = nearest_shop_file(search.from);
  if (!nearest) return std::optional<Shop>();
  return read_shop(*nearest);
}

}  // namespace calseal
