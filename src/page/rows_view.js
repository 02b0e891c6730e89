// Rows of a term and its value, and the mark on what only the shop's word stands behind.

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

// Foreign texts behind one another, each for itself.
export function joined(mark, ...texts) {
  return texts.filter((text) => text !== "").flatMap((text, i) => [...(i === 0 ? [] : [mark]), foreign(text)]);
}
