#include "calseal/check/partners.h"

#include <algorithm>

#include "calseal/base/text.h"

namespace calseal {
namespace {

std::string member_text(const SetMember& member) {
  return member.controller + " base " + std::to_string(member.base) + " sequence " +
         std::to_string(member.sequence);
}

std::string set_text(const Manifest& manifest) {
  return manifest.set ? "set " + digest_text(*manifest.set) : std::string("no set");
}

tl::unexpected<Error> mixture(const std::string& name, std::string found, std::string expected) {
  return fail({Reason::kSetMismatch, name, "set", std::move(found), std::move(expected),
               "use bundles that the shop sealed together; never write a mixture"});
}

Status check_partner(const OpenedBundle& opened, const OpenedBundle& partner) {
  const std::string& controller = partner.manifest.controller().name;
  if (!opened.set) {
    return mixture(partner.name, "a partner of controller " + controller,
                   "none: this bundle belongs to no set");
  }
  if (partner.manifest.set != opened.manifest.set) {
    return mixture(partner.name, controller + " of " + set_text(partner.manifest), set_text(opened.manifest));
  }
  // A set binds job, base, sequence, map and result of each member, and each bundle was proved a member of
  // its own.
  if (partner.manifest.vehicle_reference != opened.manifest.vehicle_reference ||
      partner.manifest.salt_digest != opened.manifest.salt_digest) {
    return mixture(partner.name, "a member that is bound to another vehicle", "the same vehicle");
  }
  return {};
}

}  // namespace

Status judge_set(const OpenedBundle& opened, const std::vector<OpenedBundle>& partners, bool whole,
                 Verdict& verdict) {
  std::vector<std::string> present = {opened.manifest.controller().name};
  for (const OpenedBundle& partner : partners) {
    CALSEAL_CHECK(check_partner(opened, partner));
    const std::string& controller = partner.manifest.controller().name;
    if (std::ranges::count(present, controller) != 0) {
      return mixture(partner.name, "controller " + controller + " again", "each member once");
    }
    present.push_back(controller);
  }
  if (!opened.set) return {};
  verdict.drivable_between_writes = opened.set->drivable_between;
  std::string order;
  std::string missing;
  for (const std::string& controller : opened.set->write_order) {
    const SetMember& member = *opened.set->find(controller);
    const bool given = std::ranges::count(present, controller) != 0;
    verdict.partners.push_back({controller, member.base, member.sequence, given});
    order += (order.empty() ? "" : ", then ") + controller;
    if (!given) missing += (missing.empty() ? "" : "; ") + member_text(member);
  }
  verdict.cautions.push_back(
      {"set",
       "only valid together: write " + order + "; in between the vehicle " +
           (opened.set->drivable_between ? "may be driven, no further than needed" : "must not be driven")});
  verdict.cautions.push_back(
      {"set-second-write",
       "if a later write fails, write it again; if it cannot be written, write the way back "
       "(revision 0) of every controller already written, before the engine is started"});
  if (missing.empty()) return {};
  if (opened.manifest.revision == 0 || !whole) {
    verdict.cautions.push_back({"set-not-shown", "not given: " + missing});
    return {};
  }
  return fail({Reason::kSetIncomplete, opened.name, "set", "no bundle for " + missing,
               std::to_string(opened.set->members.size()) + " bundles of " + set_text(opened.manifest),
               "give the missing bundles too (--partner FILE); ask the shop for what you do not have"});
}

}  // namespace calseal
