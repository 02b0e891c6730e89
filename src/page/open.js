// Opening a bundle: everything that can be judged without a read, in the order of the format's page.

import { rangeText } from "./bytes.js";
import { readChanges } from "./changes.js";
import { sha256 } from "./digest.js";
import { readContent, verifyStoredDigests } from "./entries.js";
import { signatureName, verifyFraming } from "./framing.js";
import { judgeBundleTrust, verifySigners } from "./judge.js";
import { readManifest } from "./manifest.js";
import { judgeClock, judgeSequence, judgeWithdrawal } from "./order.js";
import { readPrefix } from "./prefix.js";
import { Refusal } from "./reason.js";
import { readRegionMap } from "./region_map.js";
import { readSet } from "./set_descriptor.js";

function claimMismatch(name, place, found, expected) {
  return new Refusal("claim-mismatch", { file: name, place, found, expected, next: "do not use this bundle; tell the shop" });
}

function checkMapClaims({ name, manifest, map }) {
  const controller = manifest.controllers[0];
  const demand = (place, said, is) => {
    if (said !== is) throw claimMismatch(name, `/controllers/0${place}`, said, `${is} as in the region map`);
  };
  const mapText = (one) => `${one.name} version ${one.version}, ${one.grade}`;
  const memoryText = (one) => `${one.name} ${rangeText(one.extent)}`;
  demand("/name", controller.name, map.controller);
  demand("/region_map", mapText(controller.region_map), mapText(map));
  demand("/memories", controller.memories.map(memoryText).join(", "), map.memories.map(memoryText).join(", "));
}

// The bundle is itself a member of its set.
function checkMembership({ name, manifest, set }) {
  const controller = manifest.controllers[0];
  const own = {
    controller: controller.name,
    base: manifest.base.number,
    sequence: manifest.sequence,
    map_digest: controller.region_map.digest,
    pinned: controller.pinned.after,
  };
  const member = set.members.find((one) => one.controller === own.controller);
  const isMember = member !== undefined && Object.keys(own).every((key) => own[key] === member[key]);
  if (set.job === manifest.job && isMember) return;
  throw claimMismatch(
    name,
    "set.json",
    "a set that this bundle is no member of",
    "a member with this bundle's controller, base, sequence, region map and pinned digest",
  );
}

// Step 11. Each content is proved when its turn comes, and read at once where somebody reads it.
async function readContents(opened, storedBytes) {
  const { manifest, name } = opened;
  const readers = {
    async map(content, place) {
      opened.map = await readRegionMap(content, place);
      checkMapClaims(opened);
    },
    changes(content, place) {
      opened.changes = readChanges(content, place);
    },
    set(content, place) {
      opened.set = readSet(content, place);
      checkMembership(opened);
    },
    payload(content) {
      opened.payload.push(content);
    },
    attachment() {},
  };
  const kinds = [[/^regions\//, "map"], [/^changes\.json$/, "changes"], [/^set\.json$/, "set"], [/^payload\//, "payload"], [/^/, "attachment"]];
  for (const [i, entry] of manifest.entries.entries()) {
    const content = await readContent(storedBytes[i], entry, name);
    const [, kind] = kinds.find(([pattern]) => pattern.test(entry.name));
    await readers[kind](content, `${name}:${entry.name}`);
  }
}

// `context` is {trust, now, order, inclusion}; without an order (null) neither order in time nor the clock is judged.
// `step(name, work)` runs a step and notes how it went.
export async function openSealed({ name, bytes }, { trust, now, order, inclusion }, step) {
  const prefix = await step("prefix", () => readPrefix(bytes, name));
  const signers = await step("signature", () => verifySigners(prefix.manifest, prefix.signatures, trust, signatureName, name));
  const manifest = await step("manifest", () => readManifest(prefix.manifest, name));
  const digest = await sha256(prefix.manifest);
  const storedBytes = await step("framing", () => verifyFraming(bytes, prefix, manifest, name));
  await step("stored-digests", () => verifyStoredDigests(storedBytes, manifest, name));
  await step("trust", () => judgeBundleTrust(manifest, digest, signers, trust, inclusion, signatureName, name));
  const opened = { name, manifest, digest, map: null, changes: [], set: null, payload: [], passage: "unknown", cautions: [] };
  opened.signers = signers.map((key) => key.name + (key.state === "compromised" ? " (key compromised since)" : ""));
  if (order !== null) {
    await step("withdrawal", () => judgeWithdrawal(manifest, digest, order, name, opened.cautions));
    opened.passage = await step("sequence", () => judgeSequence(manifest, digest, order, name));
    await step("clock", () => judgeClock(manifest, now, order, name, opened.cautions));
  }
  await step("contents", () => readContents(opened, storedBytes));
  return opened;
}
