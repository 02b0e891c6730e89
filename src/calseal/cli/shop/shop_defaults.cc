#include "calseal/cli/shop/shop_defaults.h"

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <memory>
#include <optional>
#include <string_view>

#include "calseal/base/text.h"
#include "calseal/cli/shop/stated.h"

namespace calseal {
namespace {

// An option of the command, and what stands in for it.
struct Filled {
  ShopDefault by;
  Argument* argument;
  bool required;
  bool is_there() const { return !argument->given().empty(); }
  bool in_group() const { return !required && !by.alone; }
};

// Fills the options of one command, when it was chosen.
class ShopDefaults {
 public:
  std::vector<Filled> options;
  ShopLook look;
  Argument* folder = nullptr;
  std::string stated;
  bool none = false;

  Status fill(const Console& console) {
    const std::vector<Filled> left = left_to_fill();
    std::optional<Shop> shop;
    if (!none && !(left.empty() && stated.empty())) {
      CALSEAL_ASSIGN(shop, find());
    }
    if (shop && take(*shop, left)) {
      console.tell_source("shop", printable(shop->file, kShownPathLimit));
      if (look.used != nullptr) *look.used = shop->file;
    }
    return require(shop ? &*shop : nullptr);
  }

 private:
  Result<std::optional<Shop>> find() const {
    ShopSearch search{stated, "", ""};
    if (const char* path = std::getenv("CALSEAL_SHOP"); path != nullptr) search.environment = path;
    search.from = from();
    CALSEAL_ASSIGN(std::optional<Shop> found, find_shop(search));
    return found || look.kept == nullptr ? std::move(found) : look.kept(from());
  }

  std::string from() const {
    return folder != nullptr && !folder->given().empty() ? folder->given().front() : "";
  }

  bool is_given(std::string_view name) const {
    return std::any_of(options.begin(), options.end(), [&](const Filled& other) {
      return std::string_view(other.by.option) == name && other.is_there();
    });
  }

  // Where there is none, no shop file is looked for: a bad one is in nobody's way then.
  std::vector<Filled> left_to_fill() const {
    std::vector<Filled> left;
    for (const Filled& option : options) {
      if (option.by.wanted != nullptr && !option.by.wanted(from())) continue;
      if (!option.is_there() && !is_given(option.by.unless)) left.push_back(option);
    }
    return left;
  }

  // Options that belong together are left alone where none was typed and the file lacks one of them: then
  // none of them is meant.
  bool leaves_group_alone(const Shop& shop) const {
    if (look.together != Together::kAllOrNone) return false;
    return std::none_of(options.begin(), options.end(),
                        [](const Filled& option) { return option.in_group() && option.is_there(); }) &&
           std::any_of(options.begin(), options.end(),
                       [&](const Filled& option) { return option.in_group() && option.by.in(shop).empty(); });
  }

  bool take(const Shop& shop, const std::vector<Filled>& left) const {
    const bool not_meant = leaves_group_alone(shop);
    bool taken = false;
    for (const Filled& option : left) {
      if (*option.by.with != '\0' && !is_given(option.by.with)) continue;
      const std::vector<std::string> values = option.by.in(shop);
      if (values.empty() || (not_meant && option.in_group())) continue;
      option.argument->give(values);
      taken = true;
    }
    return taken;
  }

  Status require(const Shop* shop) const {
    const bool any = std::any_of(options.begin(), options.end(),
                                 [](const Filled& option) { return option.in_group() && option.is_there(); });
    std::string missing, fields;
    for (const Filled& option : options) {
      if (option.is_there() ||
          !(option.required || (any && look.together == Together::kAllOrNone && option.in_group())))
        continue;
      missing += (missing.empty() ? "" : " and ") + std::string(option.by.option);
      fields += (fields.empty() ? "" : " and ") + std::string(option.by.field);
    }
    if (missing.empty()) return {};
    return fail(usage_error(missing,
                            shop != nullptr ? "not given, and not in " + printable(shop->file)
                            : none          ? "not given"
                                            : "not given, and no shop file found",
                            "the option, or a shop file that names " + fields,
                            "give " + missing +
                                ", or put shop.json above the folder you work in (calseal shop new makes it; "
                                "docs/shop.md)"));
  }
};

}  // namespace

void add_shop_option(CommandLine& command, const std::vector<ShopDefault>& defaults, const ShopLook& look) {
  auto shop = std::make_shared<ShopDefaults>();
  shop->look = look;
  if (!look.folder.empty()) shop->folder = command.argument(look.folder);
  std::string names;
  for (const ShopDefault& one : defaults) {
    Argument* argument = command.argument(one.option);
    shop->options.push_back({one, argument, argument->is_required()});
    argument->required(false);
    names += (names.empty() ? "" : ", ") + std::string(one.option);
  }
  command
      .add_option("--shop", shop->stated,
                  "Shop file that stands in for " + names +
                      " (default: CALSEAL_SHOP, else shop.json in the folder or above" +
                      (look.kept != nullptr ? ", else the one that the job names)" : ")"))
      ->takes("FILE");
  command.add_flag("--no-shop", shop->none, "Use no shop file");
  command.before_run([shop](const Console& console) { return shop->fill(console); });
}

}  // namespace calseal
