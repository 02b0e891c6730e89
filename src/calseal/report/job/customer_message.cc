#include <algorithm>

#include "calseal/change/by_item.h"
#include "calseal/report/changes/item_report.h"
#include "calseal/report/job/job_report.h"
#include "calseal/report/message/message.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

MessageRevision described(const std::string& file, const Manifest& manifest, const Sha256& identity) {
  MessageRevision revision;
  revision.file = file;
  revision.controller = manifest.controller().name;
  revision.number = std::to_string(manifest.revision);
  revision.title = manifest.title;
  revision.notes = manifest.notes;
  revision.phrase = spoken_code(Spoken::kRevision, identity);
  for (const ManifestOption& option : manifest.options)
    revision.options.push_back(option.title.empty() ? option.name : option.title);
  for (const OrderedOption& option : manifest.ordered.options) {
    if (!option.why.empty())
      revision.ordered_not_in_it.push_back((option.title.empty() ? option.name : option.title) + ": " +
                                           option.why);
  }
  revision.requirements = manifest.requirements;
  revision.cautions = manifest.cautions;
  revision.expires = manifest.trial ? manifest.expires : "";
  return revision;
}

// In the order of writing.
void order_revisions(const SetDescriptor& set, MessageFacts& facts) {
  std::ranges::stable_sort(facts.revisions, {}, [&](const MessageRevision& revision) {
    return std::ranges::find(set.write_order, revision.controller) - set.write_order.begin();
  });
  facts.is_set = true;
  facts.drivable_between = set.drivable_between;
}

// What changed since the revision before; bytes that no item names included.
std::vector<std::string> news_of(const Sent& part) {
  const auto plan = make_plan(part.map, part.before);
  return item_summaries(
      plan ? changes_by_item(*plan, part.before, part.result, compare_images(*plan, part.before, part.result))
           : changed_items(part.map, part.before, part.result));
}

// Names of the bundles of revision 0 as they were handed over.
std::string way_backs(const VehicleJob& job, const MessageFacts& facts) {
  std::string names;
  for (const MessageRevision& revision : facts.revisions) {
    const Job* owner = job.find(revision.controller);
    const JobRevision* way_back = owner == nullptr ? nullptr : owner->base().way_back();
    if (way_back != nullptr)
      names += (names.empty() ? "" : " and ") + handed_name(revision.controller, way_back->file);
  }
  return names;
}

}  // namespace

std::string way_back_message(const NewJob& job, const std::vector<OpenedBase>& opened) {
  MessageFacts facts;
  facts.vehicle = job.vehicle_reference;
  for (const OpenedBase& one : opened)
    facts.revisions.push_back(
        described(handed_name(one.controller, one.bundle), one.sealed->manifest, one.sealed->digest));
  return message_to_customer(facts);
}

std::string kept_message(const VehicleJob& job, const std::vector<HandedBundle>& bundles) {
  MessageFacts facts;
  facts.vehicle = job.facts.vehicle_reference;
  const JobRevision* in_set = nullptr;
  for (const HandedBundle& bundle : bundles) {
    const Job* owner = job.find(bundle.controller);
    const auto& revisions = owner->base().revisions;
    const auto kept = std::ranges::find(revisions, bundle.kept_as, &JobRevision::file);
    if (kept == revisions.end()) continue;
    facts.revisions.push_back(described(bundle.name, kept->manifest, kept->digest));
    facts.revisions.back().changes = {"see the message that came with it"};
    if (kept->set) in_set = &*kept;
  }
  if (in_set != nullptr) order_revisions(*in_set->set, facts);
  facts.way_back = way_backs(job, facts);
  return message_to_customer(facts);
}

std::string sent_message(const VehicleJob& job, const SentTogether& sent) {
  MessageFacts facts;
  facts.vehicle = job.facts.vehicle_reference;
  for (const Sent& part : sent.parts) {
    MessageRevision revision =
        described(handed_name(part.controller, part.bundle), part.sealed.manifest, part.sealed.digest);
    revision.since = part.parent == 0 ? "the base" : "revision " + std::to_string(part.parent);
    revision.changes = news_of(part);
    facts.revisions.push_back(std::move(revision));
    facts.fresh_read = facts.fresh_read || part.needs_fresh_read;
  }
  if (sent.set) order_revisions(*sent.set, facts);
  facts.way_back = way_backs(job, facts);
  return message_to_customer(facts);
}

}  // namespace calseal
