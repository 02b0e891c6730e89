#include "calseal/cli/job/send_request.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/cli/job/named_revisions.h"
#include "calseal/cli/shop/option_folder.h"
#include "calseal/cli/shop/seal_words.h"
#include "calseal/job/customer_order.h"
#include "calseal/job/set_choice.h"
#include "calseal/job/sort_edits.h"

namespace calseal {
namespace {

class Planning {
 public:
  Planning(const SendOptions& options, const JobAtHand& at_hand, const Signing& signing)
      : options_(options), at_hand_(at_hand), job_(at_hand.job), signing_(signing) {}

  Result<SendPlan> run() {
    if (options_.no_options && !options_.option_files.empty())
      return fail(usage_error("--no-options", "--option beside it", "one of the two", "leave one out"));
    CALSEAL_ASSIGN(chosen_, load_options(options_.option_files));
    CALSEAL_CHECK(sort_files());
    CALSEAL_CHECK(sort_options());
    CALSEAL_CHECK(load_shop_options());
    CALSEAL_ASSIGN(without_, left_out(options_));
    CALSEAL_CHECK(take_order());
    CALSEAL_CHECK(add_partners(job_, set_choice(), plan_.requests));
    std::ranges::sort(plan_.requests, {}, &SendRequest::controller);  // the default order of writing
    for (SendRequest& request : plan_.requests) CALSEAL_CHECK(complete(request));
    CALSEAL_CHECK(name_revisions(job_, options_.parents, options_.returns, plan_.requests));
    if (plan_.requests.size() > 1 && set_choice() != SetChoice::kLeave)
      plan_.set = SetWish{options_.write_order, options_.drivable_between};
    return std::move(plan_);
  }

 private:
  SetChoice set_choice() const {
    return options_.set == "renew"   ? SetChoice::kRenew
           : options_.set == "leave" ? SetChoice::kLeave
                                     : SetChoice::kNotSaid;
  }

  SendRequest& request_for(const std::string& controller) {
    const auto at = std::ranges::find(plan_.requests, controller, &SendRequest::controller);
    if (at != plan_.requests.end()) return *at;
    plan_.requests.emplace_back();
    plan_.requests.back().controller = controller;
    return plan_.requests.back();
  }

  Status sort_files() {
    CALSEAL_ASSIGN(const std::vector<LooseFile> files,
                   load_loose_files(options_.edited, at_hand_.controller));
    CALSEAL_ASSIGN(std::vector<ControllerFiles> sorted, sort_edits(job_, files, signing_));
    for (ControllerFiles& one : sorted) request_for(one.controller).edited = std::move(one.files);
    return {};
  }

  // Without a file an option is composed on the base of the controller that it names.
  Status sort_options() {
    for (const OptionFile& option : chosen_) {
      if (job_.find(option.option.controller) == nullptr) {
        return fail({Reason::kOptionForeign, option.file, "",
                     "an option of " + printable(option.option.controller, 80),
                     "an option of a controller of this job",
                     "leave it out, or add that controller: calseal job add"});
      }
      request_for(option.option.controller).options.push_back(option);
    }
    // A revision that goes back to the base, or a trial that is made anew, has neither files nor options.
    if (plan_.requests.empty() && options_.unchanged) {
      CALSEAL_ASSIGN(const Job* const one, at_hand_.one());
      request_for(one->facts.controller);
    }
    return {};
  }

  // Only where something was ordered: a broken file there is in nobody's way otherwise.
  Status load_shop_options() {
    if (options_.option_folder.empty() || order_of(job_).options.empty()) return {};
    CALSEAL_ASSIGN(shop_options_, load_option_folder(options_.option_folder));
    return {};
  }

  OrderWish wish(std::vector<OptionFile> given) const {
    return {std::move(given), chosen_, options_.no_options, without_};
  }

  // Neither files nor options: what was ordered, or came with the base, and no revision has yet.
  Status take_order() {
    if (!plan_.requests.empty() || options_.no_options || !options_.set.empty()) return {};
    CALSEAL_ASSIGN(const std::vector<std::string> controllers,
                   controllers_to_compose(job_, at_hand_.controller, wish({}), shop_options_));
    for (const std::string& controller : controllers) request_for(controller);
    return {};
  }

  Status complete(SendRequest& request) {
    if (request.again) return {};
    const Job& owner = *job_.find(request.controller);
    CALSEAL_ASSIGN(KeptOrder kept, keep_order(job_, owner, wish(std::move(request.options)), shop_options_));
    request.options = std::move(kept.options);
    request.ordered = std::move(kept.ordered);
    request.not_in_it = std::move(kept.others);
    request.stated = {options_.fuel, options_.hardware};
    request.title = options_.title;
    request.expires = options_.expires;
    request.requirements = options_.requirements;
    request.cautions = options_.cautions;
    request.unaccounted_reason = options_.unaccounted;
    request.limits_reason = options_.limits;
    request.unchanged = options_.unchanged;
    if (!options_.roles.empty()) request.required_roles = options_.roles;
    if (!options_.notes_file.empty()) {
      CALSEAL_ASSIGN(request.notes, read_text_file(options_.notes_file, 65536));
    }
    CALSEAL_ASSIGN(request.attachments, load_attachments(options_.attachments));
    return {};
  }

  const SendOptions& options_;
  const JobAtHand& at_hand_;
  const VehicleJob& job_;
  const Signing& signing_;
  std::vector<OptionFile> chosen_, shop_options_;
  std::vector<std::pair<std::string, std::string>> without_;
  SendPlan plan_;
};

}  // namespace

Result<SendPlan> plan_send(const SendOptions& options, const JobAtHand& at_hand, const Signing& signing) {
  return Planning(options, at_hand, signing).run();
}

}  // namespace calseal
