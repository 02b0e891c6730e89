#include "calseal/job/customer_order.h"

#include <algorithm>
#include <array>

#include "calseal/base/text.h"
#include "calseal/job/job_options.h"

namespace calseal {
namespace {

bool holds(const std::vector<OptionFile>& options, std::string_view name) {
  return std::ranges::any_of(options, [&](const OptionFile& one) { return one.option.name == name; });
}

// The software number that the base's own revision 0 states; nothing where none is sealed or none is named.
std::optional<std::string> software_number_of(const JobBase& base) {
  const JobRevision* way_back = base.way_back();
  if (way_back == nullptr) return std::nullopt;
  const auto& identity = way_back->manifest.controller().identity;
  for (std::size_t i = 0; i < identity.size() && i < way_back->identity_kinds.size(); ++i) {
    if (way_back->identity_kinds[i] == "software-number") return identity[i].text;
  }
  return std::nullopt;
}

bool fits(const Option& option, const Job& controller) {
  const JobBase& base = controller.base();
  if (option.controller != controller.facts.controller || option.region_map != base.map_name) return false;
  if (option.map_digest && option.map_digest != base.map_digest) return false;
  if (option.software_numbers.empty()) return true;
  const std::optional<std::string> number = software_number_of(base);
  return number && std::ranges::find(option.software_numbers, *number) != option.software_numbers.end();
}

// A reason that is found anew each time.
constexpr std::string_view kForAnother = "it is for another controller: ";

// Steps 1 to 3 of one controller, by the names that they have in docs/job.md.
class Keeping {
 public:
  Keeping(const VehicleJob& job, const Job& controller, const OrderWish& wish,
          const std::vector<OptionFile>& shop)
      : job_(job), controller_(controller), wish_(wish), shop_(shop), order_(order_of(job)) {}

  Result<KeptOrder> run() {
    CALSEAL_CHECK(judge_without());
    CALSEAL_ASSIGN(of_base_, load_option_files(controller_, controller_.base().option_files()));
    CALSEAL_CHECK(options());
    CALSEAL_CHECK(why_not());
    if (!order_.time.empty()) list_others();
    return std::move(kept_);
  }

 private:
  Status judge_without() const {
    for (const auto& [name, why] : wish_.without) {
      if (!std::ranges::binary_search(order_.options, name)) {
        return fail({Reason::kUsage, "", "--without", printable(name, 80), "an option that was ordered",
                     "see calseal job status"});
      }
      if (holds(wish_.given, name)) {
        return fail({Reason::kUsage, "", "--without", printable(name, 80) + ", given with --option too",
                     "one of the two", "leave one out"});
      }
    }
    return {};
  }

  // Step 1, options.
  Status options() {
    kept_.options = wish_.given;
    if (!wish_.given.empty() || wish_.no_options) return {};
    CALSEAL_ASSIGN(kept_.options, options_in_force(controller_, controller_.base()));
    std::erase_if(kept_.options, [&](const OptionFile& one) {
      return said_why(one.option.name) || (was_ordered(one.option.name) && !is_ordered(one.option.name));
    });
    for (const std::string& name : order_.options) {
      if (holds(kept_.options, name) || said_why(name) || left_out_before(name)) continue;
      CALSEAL_ASSIGN(const OptionFile* const file, file_of(name));
      if (file != nullptr) kept_.options.push_back(*file);
    }
    return {};
  }

  // Step 2, files: in the base's folder, then in the shop's; nothing when none fits.
  Result<const OptionFile*> file_of(const std::string& name) const {
    for (const std::vector<OptionFile>* place : places()) {
      const OptionFile* found = nullptr;
      for (const OptionFile& file : *place) {
        if (file.option.name != name || !fits(file.option, controller_)) continue;
        if (found != nullptr && found->digest != file.digest)
          return fail(open(name, "two files of it fit: " + found->file + " and " + file.file, "one",
                           "give the right one with --option"));
        found = &file;
      }
      if (found != nullptr) return found;
    }
    return nullptr;
  }

  // Step 3, why not.
  Status why_not() {
    kept_.ordered.time = order_.time;
    kept_.ordered.parcel = order_.parcel;
    for (const std::string& name : order_.options) {
      OrderedOption one{name, title_of(name), ""};
      if (!holds(kept_.options, name)) {
        CALSEAL_ASSIGN(one.why, reason_of(name));
      }
      kept_.ordered.options.push_back(std::move(one));
    }
    return {};
  }

  Result<std::string> reason_of(const std::string& name) const {
    CALSEAL_ASSIGN(const std::string other, other_controller(name));
    if (!other.empty()) return std::string(kForAnother) + other;
    if (const std::string* why = said_why(name)) return *why;
    if (const std::string* why = left_out_before(name)) return *why;
    return fail(open(name, "not in this revision, and nobody said why",
                     "every ordered option in it, or why not",
                     "give its file with --option, or say --without " + printable(name) + "=WHY"));
  }

  // The controller of this job that has a file of it, where this one has none; empty otherwise.
  Result<std::string> other_controller(const std::string& name) const {
    if (has_file(controller_, of_base_, name)) return std::string();
    for (const Job& one : job_.controllers) {
      if (&one == &controller_) continue;
      CALSEAL_ASSIGN(const std::vector<OptionFile> kept, load_option_files(one, one.base().option_files()));
      if (has_file(one, kept, name)) return one.facts.controller;
    }
    return std::string();
  }

  bool has_file(const Job& controller, const std::vector<OptionFile>& of_base,
                const std::string& name) const {
    for (const std::vector<OptionFile>* place : {&wish_.given_to_any, &of_base, &shop_}) {
      for (const OptionFile& file : *place) {
        if (file.option.name == name && fits(file.option, controller)) return true;
      }
    }
    return false;
  }

  std::array<const std::vector<OptionFile>*, 2> places() const { return {&of_base_, &shop_}; }

  void list_others() {
    for (const std::vector<OptionFile>* place : places()) {
      for (const OptionFile& file : *place) {
        if (!holds(kept_.options, file.option.name) && fits(file.option, controller_))
          kept_.others.push_back(file);
      }
    }
  }

  // The option's own, as its file has it; where no file is at hand, nobody said it.
  std::string title_of(const std::string& name) const {
    for (const std::vector<OptionFile>* place : {&kept_.options, &of_base_, &shop_}) {
      for (const OptionFile& file : *place) {
        if (file.option.name == name) return file.option.title;
      }
    }
    return "";
  }

  const std::string* said_why(const std::string& name) const {
    for (const auto& [option, why] : wish_.without) {
      if (option == name) return &why;
    }
    return nullptr;
  }

  const OrderedOption* in_newest(const std::string& name) const {
    const JobRevision* newest = controller_.base().newest();
    if (newest == nullptr) return nullptr;
    const auto& before = newest->manifest.ordered.options;
    const auto at = std::ranges::find(before, name, &OrderedOption::name);
    return at == before.end() ? nullptr : &*at;
  }
  bool was_ordered(const std::string& name) const { return in_newest(name) != nullptr; }
  bool is_ordered(const std::string& name) const { return std::ranges::binary_search(order_.options, name); }
  const std::string* left_out_before(const std::string& name) const {
    const OrderedOption* before = in_newest(name);
    const bool said = before != nullptr && !before->why.empty() && !before->why.starts_with(kForAnother);
    return said ? &before->why : nullptr;
  }

  Error open(const std::string& name, std::string found, std::string expected, std::string next) const {
    return {Reason::kOrderOpen, printable(controller_.folder), "option " + printable(name),
            std::move(found),   std::move(expected),           std::move(next)};
  }

  const VehicleJob& job_;
  const Job& controller_;
  const OrderWish& wish_;
  const std::vector<OptionFile>& shop_;
  const CustomerOrder order_;
  std::vector<OptionFile> of_base_;
  KeptOrder kept_;
};

std::vector<std::string> option_names(const std::vector<OptionFile>& options) {
  std::vector<std::string> names;
  for (const OptionFile& one : options) names.push_back(one.option.name);
  std::ranges::sort(names);
  return names;
}

std::vector<std::string> option_names(const Manifest& manifest) {
  std::vector<std::string> names;
  for (const ManifestOption& one : manifest.options) names.push_back(one.name);
  std::ranges::sort(names);
  return names;
}

// Ascending, each once.
void sort_names(std::vector<std::string>& names) {
  std::ranges::sort(names);
  names.erase(std::unique(names.begin(), names.end()), names.end());
}

}  // namespace

CustomerOrder order_of(const VehicleJob& job) {
  const Event* newest = nullptr;
  for (const Job& controller : job.controllers) {
    // Within one controller the last note counts, whatever a clock said.
    const Event* last = nullptr;
    for (const Event& event : controller.events) {
      if (event.kind == EventKind::kOrdered && event.options) last = &event;
    }
    if (last != nullptr && (newest == nullptr || newest->time < last->time)) newest = last;
  }
  if (newest == nullptr) return {};
  CustomerOrder order{newest->time, newest->digest, *newest->options};
  sort_names(order.options);
  return order;
}

Event ordered_event(std::vector<std::string> options, std::optional<Sha256> parcel, std::uint64_t base,
                    UtcTime now) {
  sort_names(options);
  Event event;
  event.time = time_text(now);
  event.kind = EventKind::kOrdered;
  event.base = base;
  event.digest = parcel;
  event.options = std::move(options);
  return event;
}

std::optional<Event> ordered_by(const OpenedParcel& parcel, std::uint64_t base, UtcTime now) {
  if (parcel.parcel.order.empty()) return std::nullopt;
  return ordered_event(parcel.parcel.order, parcel.text_digest, base, now);
}

Result<KeptOrder> keep_order(const VehicleJob& job, const Job& controller, const OrderWish& wish,
                             const std::vector<OptionFile>& shop) {
  return Keeping(job, controller, wish, shop).run();
}

Result<std::vector<std::string>> controllers_to_compose(const VehicleJob& job, const std::string& controller,
                                                        const OrderWish& wish,
                                                        const std::vector<OptionFile>& shop) {
  std::vector<std::string> names;
  for (const Job& one : job.controllers) {
    const JobRevision* newest = one.base().newest();
    const bool meant = controller.empty() || controller == one.facts.controller;
    if (!meant || one.closed() || newest == nullptr) continue;
    if (newest->number() != 0 && newest->unaccounted != 0) continue;
    CALSEAL_ASSIGN(const KeptOrder kept, keep_order(job, one, wish, shop));
    if (option_names(kept.options) != option_names(newest->manifest)) names.push_back(one.facts.controller);
  }
  return names;
}

}  // namespace calseal
