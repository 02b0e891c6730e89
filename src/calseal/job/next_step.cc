#include "calseal/job/next_step.h"

#include <algorithm>

#include "calseal/base/text.h"

namespace calseal {
namespace {

// The folder's name as it can be typed.
std::string typed(const std::string& folder) {
  if (folder.find_first_not_of("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_./+=:,") ==
          std::string::npos &&
      !folder.empty())
    return folder;
  std::string quoted = "'";
  for (const char c : folder) c == '\'' ? quoted += "'\\''" : quoted += c;
  return printable(quoted + "'", 4096);
}

class Deciding {
 public:
  explicit Deciding(const Job& job) : job_(job), base_(job.base()), folder_(typed(job.folder)) {}

  NextStep decide() const {
    if (job_.closed()) {
      return step("closed", "Nothing: it is closed. A note opens it again.",
                  "calseal job note " + folder_ + " reopened", 0);
    }
    const JobRevision* way_back = base_.way_back();
    if (way_back == nullptr) {
      return step("seal-way-back", "Seal the way back: nothing may be edited or handed over before it.",
                  "calseal job send " + folder_ + "", 0);
    }
    if (way_back->incomplete) return countersign(*way_back);
    if (!job_.has(EventKind::kSent, *way_back)) {
      const std::string once = base_.number > 1 ? ""
                               : job_.salt_present
                                   ? ", the job's salt by another way, and the shop's trust file"
                                   : ", and the shop's trust file";
      return step("deliver-way-back",
                  "Hand the way back to the customer: " + way_back->file + once + ". Then note it.",
                  note("sent", 0, " --detail CHANNEL"), 0);
    }
    if (!job_.has(EventKind::kAcknowledged, *way_back)) {
      return step("await-way-back",
                  "Ask the customer whether he holds the way back and can check it. Then note it.",
                  note("acknowledged", 0, ""), 0);
    }
    const JobRevision* newest = newest_to_use();
    if (newest == nullptr && came_failing(*way_back)) return known_stock();
    if (newest == nullptr) return edit(nullptr);
    return about(*newest);
  }

 private:
  static bool came_failing(const JobRevision& way_back) {
    return std::ranges::any_of(way_back.manifest.controller().checksums, [](const ManifestChecksum& check) {
      return check.state == CheckState::kFails;
    });
  }

  NextStep known_stock() const {
    return step(
        "known-stock",
        "Checks of the read failed when it came, so no edit can be built on it. Put a known stock of the "
        "same software in its place, bound to this vehicle.",
        "calseal job carry " + folder_ + " READ --stock STOCK --reason WHY", 0);
  }

  // The newest revision that was not withdrawn; nothing when only the way back is left.
  const JobRevision* newest_to_use() const {
    for (std::size_t i = base_.revisions.size(); i-- > 0;) {
      const JobRevision& one = base_.revisions[i];
      if (!one.withdrawn) return one.number() == 0 ? nullptr : &one;
    }
    return nullptr;
  }

  // A withdrawn revision that is in a controller, newer than what may be used.
  const JobRevision* written_and_withdrawn() const {
    for (std::size_t i = base_.revisions.size(); i-- > 0;) {
      const JobRevision& one = base_.revisions[i];
      if (one.withdrawn && job_.has(EventKind::kWritten, one)) return &one;
      if (!one.withdrawn && one.number() != 0) return nullptr;
    }
    return nullptr;
  }

  NextStep about(const JobRevision& revision) const {
    const std::string name = "revision " + std::to_string(revision.number());
    const std::uint64_t number = revision.number();
    if (revision.incomplete) return countersign(revision);
    if (const JobRevision* bad = written_and_withdrawn()) return go_back(*bad);
    if (!job_.has(EventKind::kSent, revision)) {
      return step("deliver", "Hand " + name + " to the customer: " + revision.file + ". Then note it.",
                  note("sent", number, " --detail CHANNEL"), number);
    }
    if (!job_.has(EventKind::kWritten, revision)) {
      if (!job_.has(EventKind::kAcknowledged, revision)) {
        return step("await-receipt",
                    "Ask the customer whether " + name + " arrived and was accepted. Then note it.",
                    note("acknowledged", number, ""), number);
      }
      return step("await-write",
                  "The customer checks " + name +
                      " against a read of his own, rebuilds and writes. Note it when it is done.",
                  note("written", number, ""), number);
    }
    if (!job_.has(EventKind::kConfirmed, revision)) {
      return step(
          "confirm",
          "Compare what was read back with " + name +
              ", then note the grade of proof that it says. Until it is confirmed the vehicle is not driven.",
          "calseal confirm " + typed(job_.folder + "/" + revision.file) +
              " --trust SHOP.TRUST --read READ-BACK",
          number);
    }
    return edit(&revision);
  }

  NextStep edit(const JobRevision* from) const {
    if (const JobRevision* bad = written_and_withdrawn()) return go_back(*bad);
    if (from != nullptr && !job_.has(EventKind::kDriven, *from)) {
      return step(
          "attach-log",
          "Revision " + std::to_string(from->number()) +
              " is in the vehicle and confirmed. Attach what was logged on the drive, or send the next edit.",
          "calseal job log " + folder_ + " LOG.CSV --revision " + std::to_string(from->number()) +
              " --word WHY",
          from->number());
    }
    const std::uint64_t next = from == nullptr ? 1 : from->number() + 1;
    return step("edit", "Edit a copy of the read in " + base_folder_text() + "read/, then send it.",
                "calseal job send " + folder_ + " EDITED --title TITLE", next);
  }

  NextStep go_back(const JobRevision& bad) const {
    return step("go-back",
                "Revision " + std::to_string(bad.number()) +
                    " was withdrawn and is in the vehicle. Call the customer: the list of withdrawals tells "
                    "his checker, you tell him. Then note what he did, or send the next edit.",
                "calseal job note " + folder_ + " remark --detail WORDS", bad.number());
  }

  NextStep countersign(const JobRevision& revision) const {
    const std::string path = job_.folder + "/" + revision.file;
    return step(
        "countersign", "Required signatures are missing; nobody accepts the bundle before.",
        "calseal countersign " + typed(path) + " --key OTHER.KEY --trust SHOP.TRUST -o " +
            typed(path.substr(0, path.size() - std::string_view(".calseal").size()) + "-signed.calseal"),
        revision.number());
  }

  std::string base_folder_text() const {
    return typed(job_.folder) + "/base-" + std::to_string(base_.number) + "/";
  }

  std::string note(const std::string& fact, std::uint64_t revision, const std::string& more) const {
    return "calseal job note " + folder_ + " " + fact + " --revision " + std::to_string(revision) + more;
  }

  NextStep step(std::string code, std::string text, std::string command, std::uint64_t revision) const {
    return {std::move(code), std::move(text), std::move(command),
            base_.number,    revision,        job_.facts.controller};
  }

  const Job& job_;
  const JobBase& base_;
  std::string folder_;
};

// What is noted of all bundles of a hand-over at once. The name of its folder goes between both texts.
struct Together {
  std::string_view code, before, after, fact;
};
constexpr Together kTogether[] = {
    {"deliver-way-back", "Hand everything in ", " to the customer: it is the way back",
     "sent --detail CHANNEL"},
    {"await-way-back", "Ask the customer whether he holds what was in ", ", the way back, and can check it",
     "acknowledged"},
    {"deliver", "Hand everything in ", " to the customer", "sent --detail CHANNEL"},
    {"await-receipt", "Ask the customer whether what was in ", " arrived and was accepted", "acknowledged"},
    {"await-write", "The customer checks what was in ", " against a read of his own, rebuilds and writes",
     "written"},
};

// Salt and trust file go to the customer once, before anything was sent.
std::string once_words(const VehicleJob& job) {
  if (!job.nothing_sent()) return "";
  return job.controllers.front().salt_present
             ? ". The salt goes by another way, and so does the shop's trust file"
             : ". The shop's trust file goes by another way";
}

// Every controller waits for its next edit.
NextStep edit_together(const VehicleJob& job, const std::vector<NextStep>& steps) {
  NextStep step = steps.front();
  step.text = "Edit copies of the reads in " + job.folder +
              "/*/base-*/read/, then send them: in one go where they belong together.";
  step.command = "calseal job send " + typed(job.folder) + " EDITED... --title TITLE";
  step.controller.clear();
  return step;
}

bool is_handed(const VehicleJob& job, const NextStep& step) {
  return std::ranges::any_of(job.handed, [&](const HandedBundle& one) {
    return one.controller == step.controller && one.sealed.base == step.base &&
           one.sealed.revision == step.revision;
  });
}

const JobRevision* revision_of(const VehicleJob& job, const NextStep& step) {
  const Job* owner = job.find(step.controller);
  return owner == nullptr ? nullptr : owner->base().find(step.revision);
}

// A set of which a member was left behind by a carry: nobody can accept it any more.
void renew_outdated(const VehicleJob& job, NextStep& step) {
  const JobRevision* revision = revision_of(job, step);
  if (revision == nullptr) return;
  for (const SetPlace& member : set_members(job, *revision)) {
    if (!member.outdated()) continue;
    step.code = "edit";
    step.text = "The set of revision " + std::to_string(step.revision) + " holds one of " +
                member.owner->facts.controller +
                " that is of an earlier base. Seal it again, or send an edit.";
    step.command = "calseal job send " + typed(job.folder) + " --set renew --title TITLE";
    ++step.revision;
    return;
  }
}

// A set goes out when the customer holds the way back of every member; the step of that member says so.
bool waits_for_partner(const VehicleJob& job, const NextStep& step) {
  const JobRevision* revision = step.code == "deliver" ? revision_of(job, step) : nullptr;
  if (revision == nullptr) return false;
  return std::ranges::any_of(set_members(job, *revision), [](const SetPlace& member) {
    const JobRevision* way_back = member.base->way_back();
    return !member.owner->closed() && way_back != nullptr &&
           !member.owner->has(EventKind::kAcknowledged, *way_back);
  });
}

}  // namespace

NextStep next_step(const Job& job) { return Deciding(job).decide(); }

std::vector<NextStep> next_steps(const VehicleJob& job) {
  std::vector<NextStep> steps;
  for (const Job& one : job.controllers) {
    if (!one.closed()) steps.push_back(next_step(one));
  }
  for (NextStep& step : steps) {
    if (step.code == "deliver" || step.code == "await-receipt" || step.code == "await-write")
      renew_outdated(job, step);
  }
  std::erase_if(steps, [&](const NextStep& step) { return waits_for_partner(job, step); });
  if (steps.empty()) steps.push_back(next_step(job.controllers.front()));
  const bool all_edit = std::ranges::all_of(steps, [](const NextStep& step) { return step.code == "edit"; });
  if (steps.size() > 1 && all_edit) return {edit_together(job, steps)};
  const Together* same = std::ranges::find(kTogether, steps.front().code, &Together::code);
  const bool together = same != std::end(kTogether) && std::ranges::all_of(steps, [&](const NextStep& step) {
                          return step.code == steps.front().code && is_handed(job, step);
                        });
  if (!together) return steps;
  const std::string folder = handover_folder(job.newest_handover) + "/";
  const std::string once = same->code == "deliver-way-back" ? once_words(job) : "";
  NextStep step = steps.front();
  step.text = std::string(same->before) + folder + std::string(same->after) + once + ". Then note it.";
  step.command = "calseal job note " + typed(job.folder) + " " + std::string(same->fact);
  if (job.controllers.size() > 1) step.controller.clear();
  return {step};
}

std::string_view waits_for_name(WaitsFor who) {
  switch (who) {
    case WaitsFor::kShop:
      return "shop";
    case WaitsFor::kCustomer:
      return "customer";
    case WaitsFor::kNobody:
      break;
  }
  return "nobody";
}

WaitsFor waits_for(const NextStep& step) {
  if (step.code == "closed") return WaitsFor::kNobody;
  for (const std::string_view code : {"await-way-back", "await-receipt", "await-write", "confirm"}) {
    if (step.code == code) return WaitsFor::kCustomer;
  }
  return WaitsFor::kShop;
}

}  // namespace calseal
