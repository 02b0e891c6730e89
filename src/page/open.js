// Opening a bundle: everything that can be judged without a read, in the order of the format's page.

import { decodeUtf8 } from "./bytes.js";
import { readChanges } from "./changes.js";
import { claimChanges, claimFiles, claimMap, claimSet } from "./contents_claims.js";
import { sha256 } from "./digest.js";
import { readContent, verifyStoredDigests } from "./entries.js";
import { signatureName, verifyFraming } from "./framing.js";
import { judgeBundleTrust, verifySigners } from "./judge.js";
import { readManifest } from "./manifest.js";
import { judgeClock, judgeSequence, judgeWithdrawal } from "./order.js";
import { readPrefix } from "./prefix.js";
import { readRegionMap } from "./region_map.js";
import { judgeRules } from "./rules.js";
import { readSet } from "./set_descriptor.js";
import { readApprovals } from "./statements.js";

// Step 11. Each content is proved when its turn comes, and read at once and compared with the manifest where somebody reads it.
async function readContents(opened, storedBytes) {
  const { manifest, name } = opened;
  const readers = {
    async map(content, place) {
      opened.map = await readRegionMap(content, place);
      opened.mapText = decodeUtf8(content);
      claimMap(opened);
    },
    changes(content, place) {
      opened.changes = readChanges(content, place);
      claimChanges(opened);
    },
    set(content, place) {
      opened.set = readSet(content, place);
      claimSet(opened);
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
  claimFiles(opened);
}

// `context` is {trust, now, order, inclusion}; without an order (null) neither order in time nor the clock is judged, nor are the rules.
// `step(name, work)` runs a step and notes how it went.
export async function openSealed({ name, bytes }, { trust, now, order, inclusion }, step) {
  const prefix = await step("prefix", () => readPrefix(bytes, name));
  const signers = await step("signature", () => verifySigners(prefix.manifest, prefix.signatures, trust, signatureName, name));
  const manifest = await step("manifest", () => readManifest(prefix.manifest, name));
  const digest = await sha256(prefix.manifest);
  const storedBytes = await step("framing", () => verifyFraming(bytes, prefix, manifest, name));
  await step("stored-digests", () => verifyStoredDigests(storedBytes, manifest, name));
  const approvals = await readApprovals(manifest, trust, name);
  const keys = await step("trust", () => judgeBundleTrust(manifest, digest, signers, trust, inclusion, approvals, signatureName, name));
  const opened = { name, manifest, digest, keys, approvals, map: null, mapText: "", changes: [], set: null, payload: [], passage: "unknown", cautions: [] };
  opened.signers = signers.map((key) => key.name + (key.state === "compromised" ? " (key compromised since)" : ""));
  if (order !== null) {
    await step("withdrawal", () => judgeWithdrawal(manifest, digest, order, name, opened.cautions));
    opened.passage = await step("sequence", () => judgeSequence(manifest, digest, order, name, opened.cautions));
    await step("clock", () => judgeClock(manifest, now, order, name, opened.cautions));
  }
  await step("contents", () => readContents(opened, storedBytes));
  if (order !== null) await step("rules", () => judgeRules(opened, order));
  return opened;
}
