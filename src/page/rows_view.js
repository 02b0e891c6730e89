// Rows of a term and its value, and the mark on what only the shop's word stands behind.

import { grouped } from "./bytes.js";
import { element, foreign } from "./dom.js";
import { WORDS } from "./words.js";

// What docs/proof.md calls the word of the shop is marked, so that nobody takes it for proved.
export function shopMark(attributes = {}) {
  return element("span", { class: "word", ...attributes }, WORDS.shopWord);
}

// Rows are [term, value], and true as third where the value is the shop's word. A value is a text, an element, or a list of both; an
// empty one is no row.
export function rows(all, name = "") {
  const shown = all.filter(([, value]) => value !== "" && value.length !== 0);
  return element("dl", name === "" ? {} : { class: name }, ...shown.flatMap(([term, value, isWord]) =>
    [element("dt", {}, term, ...(isWord ? [" ", shopMark()] : [])), element("dd", {}, ...[value].flat())]));
}

// "4 March 2026 at 05:06 UTC": signed times are in UTC, and so is this.
export function signedTimeText(time) {
  return `${new Date(time).toLocaleString(document.documentElement.lang, { dateStyle: "long", timeStyle: "short", timeZone: "UTC" })} UTC`;
}

const UNITS = [[2 ** 20, "MiB"], [2 ** 10, "KiB"]];

// In the largest unit that leaves no rest, so that two sizes can be compared.
export function exactSizeText(size) {
  const unit = UNITS.find(([one]) => size >= one && size % one === 0);
  return unit === undefined ? `${grouped(size)} bytes` : `${grouped(size / unit[0])} ${unit[1]}`;
}

// Foreign texts behind one another, each for itself.
export function joined(mark, ...texts) {
  return texts.filter((text) => text !== "").flatMap((text, i) => [...(i === 0 ? [] : [mark]), foreign(text)]);
}
