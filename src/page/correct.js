// Correction: derived bytes set to their right value, in dependency order. On the customer's side only those that float, which volatile
// bytes or a binding field reach; everything else came sealed. What holds already is left alone.

import { Refusal } from "./reason.js";
import { lowMask } from "./sum.js";
import { isUnconfirmed } from "./region_map_checksums.js";
import { makeJointSystem, solveJointSystem } from "./joint.js";
import { computeValue, encodeSlot, encodeWord, finishValue, unfinishNumber } from "./value.js";
import { copiedByte, verifyCheck } from "./verify.js";
import { putBytes, viewAt } from "./image.js";
import { placeText, sizeOf } from "./place.js";

function unsolvableBalance(plan, name, place) {
  return new Refusal("map-unsolvable", { place: `${name}, ${placeText(plan.map, place)}`,
    found: "no value of the balance that makes the rule hold on this image", expected: "a balance that can reach every value",
    next: "check algorithm, target and balance of this checksum in the region map" });
}

// The word that makes a sum reach its target, given the sum with a word of zero.
function balanceWord(checksum, without) {
  const wanted = unfinishNumber(checksum, checksum.rule.equals);
  const { operation, accumulator } = checksum.algorithm.sum;
  if (operation === "add") return (wanted - without) & lowMask(checksum.bits);
  // One's complement: arithmetic modulo 2^n - 1, in which zero is written as 0.
  const modulus = lowMask(accumulator);
  const difference = (wanted % modulus) - (without % modulus);
  return difference >= 0n ? difference : difference + modulus;
}

// Addresses of the balance's bytes in the order in which the message reads them as one whole word; nothing when it does not.
// With a swap, or a coverage in pieces, that may be another order than that of addresses.
function balanceWordAddresses(node, { memory, range }) {
  const read = [];
  for (let address = range.begin; address < range.end; ++address) {
    const offsets = node.message.offsetsOf(memory, address);
    if (offsets.length !== 1) return undefined;
    read.push([offsets[0], address]);
  }
  read.sort((a, b) => a[0] - b[0]);
  const first = read[0][0];
  if (first % read.length !== 0 || read.at(-1)[0] - first !== read.length - 1) return undefined;
  return read.map(([, address]) => address);
}

async function correctSumBalance(plan, index, image) {
  const node = plan.nodes[index];
  const checksum = plan.map.checksums[node.index];
  const { balance } = checksum.rule;
  const size = sizeOf(balance.range);
  const addresses = balanceWordAddresses(node, balance);
  if (addresses === undefined) throw unsolvableBalance(plan, node.name, balance);
  putBytes(image, balance, new Uint8Array(size));
  const without = await computeValue(plan, node, image);
  for (const word of [balanceWord(checksum, without), lowMask(8 * size)]) {
    const bytes = encodeWord(word, size, checksum.algorithm.sum.order);
    addresses.forEach((at, i) => {
      putBytes(image, { memory: balance.memory, range: { begin: at, end: at + 1 } }, bytes.subarray(i, i + 1));
    });
    if ((await verifyCheck(plan, index, image)).state === "holds") return;
  }
  throw unsolvableBalance(plan, node.name, balance);
}

async function correctGroup(plan, group, image) {
  const node = plan.nodes[group.nodes[0]];
  if (!group.joint && node.isCopy) {
    const copy = plan.map.copies[node.index];
    putBytes(image, copy, viewAt(image, copy.of).map((byte) => copiedByte(copy, byte)));
    return;
  }
  if (!group.joint) {
    const checksum = plan.map.checksums[node.index];
    const { algorithm, rule } = checksum;
    if (isUnconfirmed(checksum)) {
      throw new Refusal("checksum-fails", { place: node.name, found: "a drafted checksum that does not hold, and that nobody has confirmed",
        expected: "one that holds, or that correction may write", next: "tell the shop" });
    }
    if (rule === undefined) {
      const result = finishValue(checksum, await computeValue(plan, node, image));
      for (const slot of checksum.slots) putBytes(image, slot, encodeSlot(algorithm, slot, result));
      return;
    }
    if (rule.balance === undefined) {
      throw new Refusal("checksum-fails", { place: node.name, found: "a rule that does not hold, and no balance to set",
        expected: `the value 0x${rule.equals.toString(16)}`, next: "read the controller again; if it repeats, tell the shop" });
    }
    if (algorithm.kind === "sum" && algorithm.sum.operation !== "xor") {
      await correctSumBalance(plan, group.nodes[0], image);
      return;
    }
  }
  const system = makeJointSystem(plan, group);
  if (system === undefined || !(await solveJointSystem(plan, system, image))) {
    throw unsolvableBalance(plan, node.name, node.writes[0]);
  }
  for (const index of group.nodes) {
    if ((await verifyCheck(plan, index, image)).state !== "holds") {
      throw unsolvableBalance(plan, plan.nodes[index].name, plan.nodes[index].writes[0]);
    }
  }
}

// Corrects `image` in place: every derived place (the tests', as the shop does it), or the floating ones alone.
export async function correctChecks(plan, image, floatingOnly) {
  for (const group of plan.order) {
    if (floatingOnly && !plan.nodes[group.nodes[0]].floating) continue;
    const states = [];
    for (const index of group.nodes) states.push((await verifyCheck(plan, index, image)).state);
    if (states.includes("not-provable") || states.every((state) => state === "holds")) continue;
    await correctGroup(plan, group, image);
  }
}

export function correctFloating(plan, image) {
  return correctChecks(plan, image, true);
}
