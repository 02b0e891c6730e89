// What the customer had ordered, and what became of it in this revision: the shop's word, option by option.

import { countText, signedTimeText } from "./amounts.js";
import { element, folded, foreign } from "./dom.js";
import { phrase } from "./phrase.js";
import { WORDS } from "./words.js";

const SHOWN_MOST = 8; // a longer list is folded

// As check/1 of docs/json-output.md lists them: first what was ordered, then what is in the revision and was not. None where no
// order is known.
export function orderedStates({ options, ordered }) {
  if (ordered.time === "") return [];
  const wanted = new Set(ordered.options.map(({ name }) => name));
  const own = options.filter(({ name }) => !wanted.has(name));
  return [...ordered.options.map(({ name, title, why }) => ({ name, title, state: why === "" ? "in" : "not-in", why })),
    ...own.map(({ name, title }) => ({ name, title, state: "not-ordered", why: "" }))];
}

export function foldedList(list, count, summary) {
  return count <= SHOWN_MOST ? list : folded(summary, list);
}

function optionItem({ name, title, state, why }) {
  const { sign, word } = WORDS.ordered.state[state];
  return element("li", { class: state }, element("span", { class: "mark", "aria-hidden": "true" }, sign),
    element("span", {}, foreign(title === "" ? name : title), ": ", ...phrase(word, { why: foreign(why) })));
}

// Nothing where no order is known.
export function orderedPart(manifest) {
  const { time, parcel, options: wanted } = manifest.ordered;
  if (time === "") return [];
  const { many, nothing, noted, fromParcel, means } = WORDS.ordered;
  const states = orderedStates(manifest);
  const left = states.filter(({ state }) => state === "not-in").length;
  const summary = phrase(many, { count: countText(wanted.length), left: countText(left) }).join("");
  const list = element("ul", { class: "plain ordered" }, ...states.map(optionItem));
  return [wanted.length === 0 ? element("p", {}, nothing) : "", states.length === 0 ? "" : foldedList(list, states.length, summary),
    element("p", { class: "hint" }, ...phrase(parcel === "" ? noted : fromParcel, { time: signedTimeText(time) }), " ", means)].filter((one) => one !== "");
}
