#include "calseal/bundle/set_descriptor.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/signed_json.h"

namespace calseal {
namespace {

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

std::string write_set(const SetDescriptor& set) {
  return canonical_json(json_object(
      {{"calseal", json("set/1")},
       {"job", json(set.job)},
       {"members", json_array(set.members,
                              [](const SetMember& member) {
                                return json_object({{"controller", json(member.controller)},
                                                    {"base", json(member.base)},
                                                    {"sequence", json(member.sequence)},
                                                    {"map_digest", json_digest(member.map_digest)},
                                                    {"pinned", json_digest(member.pinned)}});
                              })},
       {"write_order", json_strings(set.write_order)},
       {"drivable_between", json(set.drivable_between)}}));
}

Result<SetDescriptor> parse_set(ByteView bytes, const std::string& name) {
  if (bytes.size() > kSetSizeLimit) {
    return fail({Reason::kFileTooLarge, name, "", grouped(bytes.size()) + " bytes",
                 "at most " + grouped(kSetSizeLimit) + " bytes", "do not use this file"});
  }
  CALSEAL_CHECK(check_kind(bytes, kSetLiteral, name));
  CALSEAL_ASSIGN(const JsonTree tree, JsonTree::parse(text_of(bytes), name));
  JsonDocument document(text_of(bytes), name);
  JsonObject top(JsonNode(document, tree));
  SetDescriptor set;
  top.text("calseal");
  set.job = read_name(top, "job");
  for (const JsonNode& node : top.items("members", kSetMemberLimit)) {
    JsonObject object(node);
    SetMember member;
    member.controller = read_name(object, "controller");
    member.base = object.integer("base", 1, kBaseLimit);
    member.sequence = object.integer("sequence", 1, kSequenceLimit);
    member.map_digest = read_digest(object, "map_digest");
    member.pinned = read_digest(object, "pinned");
    object.done();
    set.members.push_back(std::move(member));
  }
  for (const JsonNode& node : top.items("write_order", kSetMemberLimit))
    set.write_order.push_back(read_name(node));
  set.drivable_between = top.boolean("drivable_between");
  top.done();
  if (!document.ok()) return fail(document.error());
  CALSEAL_CHECK(check_canonical(bytes, write_set(set), name));
  CALSEAL_CHECK(check_members(set, name));
  return set;
}

}  // namespace calseal
