// Sets: revisions of several controllers that are only valid together.

import { Refusal } from "./reason.js";

function setText({ set }) {
  return set === "" ? "no set" : `set ${set}`;
}

function checkPartner(opened, partner, present) {
  const mixture = (found, expected) =>
    new Refusal("set-mismatch", {
      file: partner.name, place: "set", found, expected, next: "use bundles that the shop sealed together; never write a mixture",
    });
  const { manifest } = partner;
  const controller = manifest.controllers[0].name;
  if (opened.set === null) throw mixture(`a partner of controller ${controller}`, "none: this bundle belongs to no set");
  if (manifest.set !== opened.manifest.set) throw mixture(`${controller} of ${setText(manifest)}`, setText(opened.manifest));
  // A set binds job, base, sequence, map and result; each bundle was proved a member of its own.
  const sameVehicle = manifest.vehicle_reference === opened.manifest.vehicle_reference && manifest.salt_digest === opened.manifest.salt_digest;
  if (!sameVehicle) throw mixture("a member that is bound to another vehicle", "the same vehicle");
  if (present.includes(controller)) throw mixture(`controller ${controller} again`, "each member once");
}

// Fills `report`, {partners, drivableBetween, cautions}. A revision 0 is never held up by a set; nor is a look at the seal alone,
// for which `whole` is false.
export function judgeSet(opened, partners, whole, report) {
  const present = [opened.manifest.controllers[0].name];
  for (const partner of partners) {
    checkPartner(opened, partner, present);
    present.push(partner.manifest.controllers[0].name);
  }
  const { set } = opened;
  if (set === null) return;
  const members = set.write_order.map((name) => set.members.find(({ controller }) => controller === name));
  report.drivableBetween = set.drivable_between;
  report.partners = members.map(({ controller, base, sequence }) => ({
    controller, base, sequence, given: present.includes(controller),
  }));
  const between = set.drivable_between ? "may be driven, no further than needed" : "must not be driven";
  report.cautions.push(
    { code: "set", says: set.drivable_between ? "set-drivable" : "set", parts: { controllers: set.write_order.join(", ") }, text: `only valid together: write ${set.write_order.join(", then ")}; in between the vehicle ${between}` },
    {
      code: "set-second-write",
      parts: {},
      text: "if a later write fails, write it again; if it cannot be written, write the way back (revision 0) of every controller already written, before the engine is started",
    },
  );
  const missing = report.partners
    .filter(({ given }) => !given)
    .map(({ controller, base, sequence }) => `${controller} base ${base} sequence ${sequence}`)
    .join("; ");
  if (missing === "") return;
  if (opened.manifest.revision === 0 || !whole) {
    report.cautions.push({ code: "set-not-shown", parts: { missing }, text: `not given: ${missing}` });
    return;
  }
  throw new Refusal("set-incomplete", {
    file: opened.name,
    place: "set",
    found: `no bundle for ${missing}`,
    expected: `${set.members.length} bundles of ${setText(opened.manifest)}`,
    next: "give the missing bundles too; ask the shop for what you do not have",
  });
}
