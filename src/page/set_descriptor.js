// set.json: the revisions that are only valid together, and the order in which they are written.

import { BASE_NUMBER, SEQUENCE_NUMBER } from "./manifest.js";
import { Refusal } from "./reason.js";
import { BOOLEAN, checkKind, DIGEST, isAscending, listOf, NAME, objectOf, readCanonical, VALUE } from "./schema.js";

const MEMBERS_LIMIT = 16;
const SET_DESCRIPTOR = objectOf(
  ["calseal", VALUE],
  ["job", NAME],
  ["members", listOf(
    objectOf(["controller", NAME], ["base", BASE_NUMBER], ["sequence", SEQUENCE_NUMBER], ["map_digest", DIGEST], ["pinned", DIGEST]),
    MEMBERS_LIMIT,
  )],
  ["write_order", listOf(NAME, MEMBERS_LIMIT)],
  ["drivable_between", BOOLEAN],
);

export function readSet(bytes, name) {
  checkKind(bytes, "set/1", name);
  const set = readCanonical(bytes, SET_DESCRIPTOR, name);
  const controllers = set.members.map((member) => member.controller);
  const refuse = (place, found, expected) => {
    throw new Refusal("manifest-invalid", {
      file: name, place, found, expected, next: "do not use this set; ask its sender for a new one",
    });
  };
  if (controllers.length < 2) refuse("/members", `${controllers.length} members`, "at least two");
  if (!isAscending(controllers)) refuse("/members", "members out of order or twice", "ascending by controller, each once");
  if ([...set.write_order].sort().join() !== controllers.join()) {
    refuse("/write_order", "another list of controllers", "each member's controller once");
  }
  return set;
}
