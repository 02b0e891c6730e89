#include "calseal/bundle/set_descriptor.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {
namespace {

void member_fields(Fields& field, SetMember& member) {
  field("controller", member.controller, kName);
  field("base", member.base, Integer{1, kBaseLimit});
  field("sequence", member.sequence, Integer{1, kSequenceLimit});
  field("map_digest", member.map_digest, kDigest);
  field("pinned", member.pinned, kDigest);
}

Status check_members(const SetDescriptor& set, const std::string& name) {
  const auto refuse = [&name](const std::string& place, std::string found, std::string expected) {
    return fail({Reason::kManifestInvalid, name, place, std::move(found), std::move(expected),
                 "do not use this set; ask its sender for a new one"});
  };
  if (set.members.size() < 2) {
    return refuse("/members", std::to_string(set.members.size()) + " members", "at least two");
  }
  std::vector<std::string> controllers;
  for (const SetMember& member : set.members) {
    if (!controllers.empty() && controllers.back() >= member.controller) {
      return refuse("/members", member.controller + " after " + controllers.back(),
                    "members ascending by controller, each once");
    }
    controllers.push_back(member.controller);
  }
  std::vector<std::string> written = set.write_order;
  std::sort(written.begin(), written.end());
  if (written != controllers)
    return refuse("/write_order", "another list of controllers", "each member's controller once");
  return {};
}

}  // namespace

const SetMember* SetDescriptor::find(std::string_view controller) const {
  const auto it = std::find_if(members.begin(), members.end(),
                               [&](const SetMember& member) { return member.controller == controller; });
  return it == members.end() ? nullptr : &*it;
}

void set_fields(Fields& field, SetDescriptor& set) {
  field.kind_of_file("set/1");
  field("job", set.job, kName);
  field("members", set.members, List{Record{member_fields}, kSetMemberLimit});
  field("write_order", set.write_order, List{kName, kSetMemberLimit});
  field("drivable_between", set.drivable_between, kBoolean);
}

std::string write_set(const SetDescriptor& set) { return canonical_text(set, set_fields); }

Result<SetDescriptor> parse_set(ByteView bytes, const std::string& name) {
  if (bytes.size() > kSetSizeLimit) {
    return fail({Reason::kFileTooLarge, name, "", grouped(bytes.size()) + " bytes",
                 "at most " + grouped(kSetSizeLimit) + " bytes", "do not use this file"});
  }
  CALSEAL_CHECK(check_kind(bytes, kSetLiteral, name));
  CALSEAL_ASSIGN(SetDescriptor set, read_canonical(bytes, set_fields, name));
  CALSEAL_CHECK(check_members(set, name));
  return set;
}

}  // namespace calseal
