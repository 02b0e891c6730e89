// What a verdict shows of an order: each option with a sign and a word, and foreign texts for themselves. The page's elements are
// made in a document that only remembers them.
import assert from "node:assert/strict";
import { test } from "node:test";

import { orderedStates } from "../../src/page/ordered_view.js";
import { workPart } from "../../src/page/technical_view.js";
import { WORDS } from "../../src/page/words.js";
import { ORDERED, walnut } from "./walnut.mjs";

class Part {
  constructor(tag) {
    Object.assign(this, { tag, attributes: {}, children: [] });
  }

  setAttribute(name, value) {
    this.attributes[name] = value;
  }

  append(...children) {
    this.children.push(...children);
  }

  get text() {
    return this.children.map((one) => one.text ?? one).join("");
  }

  all(tag) {
    return this.children.filter((one) => one instanceof Part).flatMap((one) => [...(one.tag === tag ? [one] : []), ...one.all(tag)]);
  }
}
globalThis.document = { createElement: (tag) => new Part(tag) };

function shown(job, change = () => {}) {
  const { manifest } = walnut(job);
  change(manifest);
  const all = new Part("div");
  all.append(...workPart({ manifest }));
  return all;
}
const lines = (part) => part.all("li").map(({ text }) => text);

test("the states of options: what was ordered, by name, then the rest", () => {
  assert.deepEqual(orderedStates(ORDERED), [
    { name: "boost", title: "", state: "in", why: "" },
    { name: "economy", title: "Economy", state: "not-in", why: "needs another gearbox" },
    { name: "launch", title: "Launch control", state: "in", why: "" },
    { name: "quiet", title: "Quiet start", state: "not-ordered", why: "" },
  ]);
  assert.deepEqual(orderedStates({ ...ORDERED, ordered: { time: "", parcel: "", options: [] } }), []);
});

test("an order is a list with signs and words", () => {
  const part = shown(ORDERED);
  assert.match(part.text, /^What the shop says of it shop's wordOrdered – in this revision/);
  assert.deepEqual(lines(part), ["✓boost: in this revision", "–Economy: not in this revision: needs another gearbox",
    "✓Launch control: in this revision", "+Quiet start: in this revision, not ordered"]);
  assert.ok(part.text.includes("on February 28, 2026 at 11:59 PM UTC, from your parcel. The list is the shop's signed word."));
  assert.ok(part.text.endsWith("only which bytes change."));
  assert.deepEqual(part.all("bdi").map(({ text }) => text), ["boost", "Economy", "needs another gearbox", "Launch control", "Quiet start"]);
  assert.ok(!shown(ORDERED, ({ ordered }) => void (ordered.parcel = "")).text.includes("from your parcel"));
});

test("no state is told by its sign or its colour alone", () => {
  const all = Object.values(WORDS.ordered.state);
  for (const key of ["sign", "word"]) assert.equal(new Set(all.map((one) => one[key])).size, all.length);
});

test("without an order the options are as they were", () => {
  const part = shown({ options: ORDERED.options });
  assert.equal(part.text, "What the shop says of it shop's wordOptionsLaunch controlboostQuiet start");
  assert.equal(shown({}).text, "");
});

test("an order of nothing says so", () => {
  const nothing = { time: ORDERED.ordered.time, parcel: "", options: [] };
  assert.ok(shown({ ordered: nothing }).text.includes("Nothing is ordered."));
  assert.deepEqual(lines(shown({ ordered: nothing, options: ORDERED.options.slice(0, 1) })), ["+Launch control: in this revision, not ordered"]);
});

test("a long list is folded, and says how many are missing", () => {
  const many = (count) => Array.from({ length: count }, (_, i) => ({ name: `n${String(i).padStart(3, "0")}`, title: "", why: "later" }));
  const ordered = (count) => shown({ ...ORDERED, ordered: { ...ORDERED.ordered, options: many(count) } });
  assert.deepEqual(ordered(5).all("summary"), []);
  assert.equal(ordered(6).all("summary")[0].text, "6 ordered, 6 of them not in this revision");
  assert.equal(lines(ordered(256)).length, 259);
});

test("texts that try to mislead are shown as they are", () => {
  const part = shown(ORDERED, ({ ordered }) => Object.assign(ordered.options[1], { title: "a\u202eb", why: "c\u200bd" }));
  assert.equal(lines(part)[1], "–a\\u202eb: not in this revision: c\\u200bd");
});
