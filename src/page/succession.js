// From the root that a person once was told to the one that signs now.

import { utf8 } from "./bytes.js";
import { checkKey, keyId, verifySignature } from "./key.js";
import { describeRefusal, Refusal } from "./reason.js";
import { LINE, objectOf, readCanonicalAs, textOf, TIME, VALUE } from "./schema.js";
import { SPOKEN, spokenCode } from "./spoken_code.js";
import { readStatement } from "./statement.js";
import { checkStatedRoot, PUBLIC_KEY, readTrustFile, TRUST_FILE_MOST } from "./trust.js";

export const SUCCESSION_MOST = 640 * 1024;
const STEPS_MOST = 16;
const SUCCESSION = objectOf(
  ["calseal", VALUE], ["old_trust", textOf(TRUST_FILE_MOST)], ["new_root", PUBLIC_KEY], ["claimed_time", TIME], ["reason", LINE],
);

function successionInvalid(name, place, found, expected) {
  return new Refusal("succession-invalid", {
    file: name, place, found, expected, next: "do not believe the new root; ask the shop, by telephone or in person",
  });
}

async function readOldTrust(text, name) {
  try {
    return await readTrustFile(utf8(text), "", name);
  } catch (fault) {
    if (!(fault instanceof Refusal)) throw fault;
    const { place, found, expected } = describeRefusal(fault);
    throw successionInvalid(name, `/old_trust, ${place}`, found, expected);
  }
}

// Gives {oldTrust, newRootId}.
async function readSuccession(bytes, name) {
  const { text, signatures } = readStatement(bytes, "succession/1", SUCCESSION_MOST, "succession-invalid", name);
  const step = readCanonicalAs("succession-invalid", text, SUCCESSION, name);
  checkKey(step.new_root, name);
  const oldTrust = await readOldTrust(step.old_trust, name);
  const newRootId = await keyId(step.new_root);
  if (oldTrust.next_root !== newRootId || step.new_root === oldTrust.root) {
    throw successionInvalid(name, "/new_root", spokenCode(SPOKEN.key, newRootId), "the root that the old trust file announces");
  }
  for (const [root, id] of [[oldTrust.root, oldTrust.rootId], [step.new_root, newRootId]]) {
    const signature = signatures.find((one) => one.keyId === id);
    if (signatures.length !== 2 || signature === undefined) {
      throw successionInvalid(
        name,
        "signatures",
        `${signatures.length} of them, or of other keys`,
        "exactly two, by the old and by the new root",
      );
    }
    if (!(await verifySignature(root, text, signature.signature))) {
      throw successionInvalid(name, `signature of ${id}`, "a signature that does not verify", "the signature of this root over the first line");
    }
  }
  return { oldTrust, newRootId };
}

// A trust file and the successions that lead to its root, oldest first: {trust, oldTrusts, roots}; `roots` are the ids of all
// roots, the trust file's last.
export async function readTrustChain(trustFile, successions, statedRoot) {
  // Without steps there is one root, and the order of a trust file's own checks holds.
  const trust = await readTrustFile(trustFile.bytes, successions.length === 0 ? statedRoot : "", trustFile.name);
  if (successions.length > STEPS_MOST) {
    throw successionInvalid(successions[STEPS_MOST].name, "", `${successions.length} steps`, `at most ${STEPS_MOST}`);
  }
  const oldTrusts = [];
  const roots = [];
  for (const { bytes, name } of successions) {
    const { oldTrust, newRootId } = await readSuccession(bytes, name);
    if (roots.length === 0) roots.push(oldTrust.rootId);
    if (oldTrust.rootId !== roots.at(-1)) {
      throw successionInvalid(name, "/old_trust", spokenCode(SPOKEN.key, oldTrust.rootId), `the root before: ${spokenCode(SPOKEN.key, roots.at(-1))}`);
    }
    if (roots.includes(newRootId)) throw successionInvalid(name, "/new_root", spokenCode(SPOKEN.key, newRootId), "a root that was none before");
    roots.push(newRootId);
    oldTrusts.push(oldTrust);
  }
  if (roots.length === 0) return { trust, oldTrusts, roots: [trust.rootId] };
  if (roots.at(-1) !== trust.rootId) {
    throw successionInvalid(
      successions.at(-1).name,
      "/new_root",
      spokenCode(SPOKEN.key, roots.at(-1)),
      `the trust file's root: ${spokenCode(SPOKEN.key, trust.rootId)}`,
    );
  }
  if (statedRoot !== "") checkStatedRoot(roots, statedRoot, trustFile.name);
  return { trust, oldTrusts, roots };
}
