// The checksum plan of one image: which checksums and copies depend on which, in what order they are corrected, which must be
// solved together, which float, and how the image falls into spans. It looks only at locked bytes, so all reads of one base
// give the same plan.
//
// A plan is {map, nodes, edges, order, learned, kinds}. A node is one checksum or copy: {isCopy, index, name, message, reads,
// writes, fixed, floating, readsLearned}; `reads` by memory, a rule's own balance not among them; `writes` slots, balance or copy;
// `fixed` slots of an unconfirmed checksum.
// `edges` are, by node, the nodes whose bytes it reads itself. A group of `order` is {nodes, joint}. `learned` and `kinds` are sets
// of bytes by memory; learned bytes are those of the kind volatile.

import { grouped } from "./bytes.js";
import { Refusal } from "./reason.js";
import { RangeSet } from "./range_set.js";
import { isUnconfirmed, writtenPlaces } from "./region_map_checksums.js";
import { Message, PIECE_LIMIT } from "./message.js";
import { JOINT_BIT_LIMIT, makeJointSystem } from "./joint.js";
import { comparePlaces, overlapping, setsOf, sizeOf } from "./place.js";

// The derived ranges of all nodes, sorted by place; they never overlap.
function ownedRanges(nodes) {
  return nodes.flatMap((node, owner) => node.writes.map(({ memory, range }) => ({ memory, range, owner }))).sort(comparePlaces);
}

const PLACES_READ_LIMIT = 2 ** 20;  // slots, balances and copies, by all checksums and copies together

// By node: the nodes whose bytes it reads, ascending.
function makeEdges(nodes) {
  const owned = ownedRanges(nodes);
  let left = PLACES_READ_LIMIT;
  return nodes.map(({ name, reads }) => {
    const owners = new Set();
    let last; // two ranges may touch one place
    reads.forEach((set, memory) => {
      for (const range of set.ranges) {
        for (const place of overlapping(owned, { memory, range })) {
          if (place === last) continue;
          last = place;
          owners.add(place.owner);
          if (--left >= 0) continue;
          throw new Refusal("descriptor-invalid", { place: name,
            found: `more than ${grouped(PLACES_READ_LIMIT)} slots, balances and copies read by all checksums and copies up to this one`,
            expected: `at most ${grouped(PLACES_READ_LIMIT)}`, next: "read fewer of each other's results" });
        }
      }
    });
    return Uint16Array.from(owners).sort();
  });
}

// Strongly connected components (Tarjan 1972), each after all that it depends on. Without recursion, since the depth is set by
// the region map.
function findComponents(edges) {
  const components = [];
  const number = new Array(edges.length).fill(0);
  const low = new Array(edges.length).fill(0);
  const onStack = new Array(edges.length).fill(false);
  const stack = [];
  let counter = 0;
  for (let root = 0; root < edges.length; ++root) {
    if (number[root] !== 0) continue;
    const frames = [];
    const enter = (node) => {
      number[node] = low[node] = ++counter;
      stack.push(node);
      onStack[node] = true;
      frames.push({ node, next: 0 });
    };
    enter(root);
    while (frames.length > 0) {
      const frame = frames.at(-1);
      const { node } = frame;
      if (frame.next < edges[node].length) {
        const to = edges[node][frame.next++];
        if (number[to] === 0) enter(to);
        else if (onStack[to]) low[node] = Math.min(low[node], number[to]);
        continue;
      }
      frames.pop();
      if (frames.length > 0) low[frames.at(-1).node] = Math.min(low[frames.at(-1).node], low[node]);
      if (low[node] !== number[node]) continue;
      const component = [];
      let member;
      do {
        member = stack.pop();
        onStack[member] = false;
        component.push(member);
      } while (member !== node);
      components.push(component.sort((a, b) => a - b));
    }
  }
  return components;
}

const READS_OF_AN_IMAGE = 64;  // docs/proof.md, claims

function makeNodes(map, image) {
  let pieces = PIECE_LIMIT;
  let read = 0;
  const most = READS_OF_AN_IMAGE * map.memories.reduce((total, { extent }) => total + sizeOf(extent), 0);
  const checksums = map.checksums.map((checksum, index) => {
    const message = new Message(map, checksum, image, pieces);
    pieces -= message.pieces.length;
    read += message.length;
    // Nothing that a small file says keeps a machine busy for long.
    if (read > most) {
      throw new Refusal("descriptor-invalid", { place: checksum.name,
        found: `${grouped(read)} bytes read by all checksums up to this one`, expected: `at most ${grouped(most)}`,
        next: "check that region map and image belong together" });
    }
    const { balance } = checksum.rule ?? {};
    const reads = [...message.reads];
    if (balance !== undefined) {
      reads[balance.memory] = reads[balance.memory].copy();
      reads[balance.memory].remove(balance.range);
    }
    // Slots of an unconfirmed checksum are read, and never written.
    const fixed = isUnconfirmed(checksum) ? checksum.slots : [];
    for (const { memory, range } of fixed) {
      reads[memory] = reads[memory].copy();
      reads[memory].add(range);
    }
    return { isCopy: false, index, name: checksum.name, message, reads, floating: false, writes: writtenPlaces(checksum), fixed };
  });
  const copies = map.copies.map((copy, index) => {
    const reads = map.memories.map(() => new RangeSet());
    reads[copy.of.memory].add(copy.of.range);
    return { isCopy: true, index, name: copy.name, message: undefined, reads, floating: false, writes: [copy], fixed: [] };
  });
  return [...checksums, ...copies];
}

function memberNames(plan, nodes) {
  return [...nodes, nodes[0]].map((index) => plan.nodes[index].name).join(" -> ");
}

const regionBytes = (map, policy) => setsOf(map, map.regions.filter((region) => region.policy === policy));
const bindingBytes = (map) => setsOf(map, map.identity.filter((field) => field.binds));
const ownedBytes = ({ map, nodes }, wanted) => setsOf(map, nodes.filter(wanted).flatMap((node) => node.writes));

// Learned bytes: those of volatile regions that no node owns and no binding field holds.
function learnedBytes(plan) {
  const sets = regionBytes(plan.map, "volatile");
  for (const stronger of [ownedBytes(plan, () => true), bindingBytes(plan.map)]) sets.forEach((set, memory) => set.removeAll(stronger[memory]));
  return sets;
}

// Learned bytes and binding fields.
function vehicleBytes(plan) {
  const sets = bindingBytes(plan.map);
  sets.forEach((set, memory) => set.addAll(plan.learned[memory]));
  return sets;
}

// By node: whether it reads one of these bytes (one set for each memory), itself or through other nodes.
function nodesThatRead(plan, sets) {
  const found = new Array(plan.nodes.length).fill(false);
  for (const { nodes } of plan.order) {
    const any = nodes.some((index) =>
      plan.nodes[index].reads.some((set, memory) => set.ranges.some((range) => sets[memory].overlaps(range))) ||
      plan.edges[index].some((read) => found[read]));
    for (const index of nodes) found[index] = any;
  }
  return found;
}

function markFloating(plan) {
  const readsVehicle = nodesThatRead(plan, vehicleBytes(plan));
  const readsLearned = nodesThatRead(plan, plan.learned);
  plan.nodes.forEach((node, index) => Object.assign(node, { floating: readsVehicle[index], readsLearned: readsLearned[index] }));
}

// A balance that floats is set again on the customer's side, so both sides must find the same value. Of the two words that
// one's complement addition takes for zero, correction sets 0.
function isBalanceUnique(plan, group) {
  const checksum = plan.map.checksums[plan.nodes[group.nodes[0]].index];
  const system = makeJointSystem(plan, group);
  if (system !== undefined) return system.isSolvable && system.isUnique;
  return checksum.bits === 8 * sizeOf(checksum.rule.balance.range);
}

function checkGroups(plan) {
  for (const group of plan.order) {
    const node = plan.nodes[group.nodes[0]];
    if (group.joint) {
      const system = makeJointSystem(plan, group);
      const place = memberNames(plan, group.nodes);
      if (system === undefined || !system.isSolvable) {
        throw new Refusal("checksum-cycle", { place,
          found: system === undefined
            ? `a circle of results that cover each other, and not one of CRCs and exclusive-or sums that fits into ${JOINT_BIT_LIMIT} bits`
            : "a circle of results that cover each other, without a value that satisfies all",
          expected: "an order in which each can be computed",
          next: 'exclude a slot from its own coverage with "substitute", or correct the ranges' });
      }
      if (node.floating && !system.isUnique) {
        throw new Refusal("map-floating", { place, found: "more than one right value",
          expected: "exactly one right value, since bytes of the vehicle reach it", next: "make the slot as wide as the result" });
      }
      continue;
    }
    if (node.isCopy || !node.floating) continue;
    const checksum = plan.map.checksums[node.index];
    if (checksum.rule?.balance && !isBalanceUnique(plan, group)) {
      throw new Refusal("map-floating", { place: checksum.name, found: "a balance with more than one right value",
        expected: "exactly one right value, since bytes of the vehicle reach it", next: "make the balance as wide as the result" });
    }
  }
}

export function makePlan(map, image) {
  const plan = { map, nodes: makeNodes(map, image), order: [] };
  plan.edges = makeEdges(plan.nodes);
  for (const nodes of findComponents(plan.edges)) {
    plan.order.push({ nodes, joint: nodes.length > 1 || plan.edges[nodes[0]].includes(nodes[0]) });
  }
  plan.learned = learnedBytes(plan);
  markFloating(plan);
  checkGroups(plan);
  plan.kinds = kindSets(plan);
  return plan;
}

// By memory: the kind of every byte that is not locked, as disjoint sets.
function kindSets(plan) {
  const { map, learned } = plan;
  const [derived, floating] = [false, true].map((floats) => ownedBytes(plan, (node) => node.floating === floats));
  const [editable, binding] = [regionBytes(map, "editable"), bindingBytes(map)];
  return map.memories.map((_, memory) => {
    const sets = { editable: editable[memory], derived: derived[memory], floating: floating[memory], volatile: learned[memory],
      binding: binding[memory] };
    for (const stronger of [sets.derived, sets.floating, sets.binding]) sets.editable.removeAll(stronger);
    return sets;
  });
}

export function isPinned(kind) {
  return kind === "locked" || kind === "editable" || kind === "derived";
}

// All bytes of the named kind in one memory, known or not.
export function bytesOfKind(plan, memory, kind) {
  if (kind !== "locked") return plan.kinds[memory][kind];
  const locked = new RangeSet([plan.map.memories[memory].extent]);
  for (const other of Object.values(plan.kinds[memory])) locked.removeAll(other);
  return locked;
}

// Runs of bytes of one kind, {memory, range, kind, known}: cut at every edge of region, slot, binding field, memory and of what
// `image` knows; memories in map order, ascending, without gaps.
export function spansOf(plan, image) {
  const { map, nodes } = plan;
  const spans = [];
  map.memories.forEach(({ extent }, memory) => {
    const kinds = Object.entries(plan.kinds[memory]);
    const { known } = image.memories[memory];
    const cuts = new Set([extent.begin, extent.end]);
    const cut = ({ begin, end }) => cuts.add(begin).add(end);
    const cutPlace = (place) => {
      if (place.memory === memory) cut(place.range);
    };
    map.regions.forEach(cutPlace);
    for (const node of nodes) node.writes.forEach(cutPlace);
    map.identity.filter((field) => field.binds).forEach(cutPlace);
    known.ranges.forEach(cut);
    const sorted = [...cuts].sort((a, b) => a - b);
    for (let i = 0; i + 1 < sorted.length; ++i) {
      const begin = sorted[i];
      const kind = kinds.find(([, set]) => set.has(begin))?.[0] ?? "locked";
      spans.push({ memory, range: { begin, end: sorted[i + 1] }, kind, known: known.has(begin) });
    }
  });
  return spans;
}

// Ranges that every payload of areas holds: editable, permitted patches, pinned derived; known bytes of `image` only. One set
// for each memory.
export function areasOf(plan, image) {
  return setsOf(plan.map, plan.map.patches).map((set, memory) => {
    const { editable, derived } = plan.kinds[memory];
    set.addAll(editable);
    set.addAll(derived);
    return set.intersect(image.memories[memory].known);
  });
}

// The areas of `image`, and the floating places that depend on them: writing exactly these turns any revision of the base into any other.
export function writeRangesOf(plan, areas, image) {
  const reached = nodesThatRead(plan, areas);
  const extra = setsOf(plan.map, plan.nodes.filter((node, index) => reached[index] && node.floating).flatMap((node) => node.writes));
  return areas.map((set, memory) => {
    const all = set.copy();
    all.addAll(extra[memory].intersect(image.memories[memory].known));
    return all;
  });
}
