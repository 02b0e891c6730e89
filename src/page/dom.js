// Elements of the page. Texts of files enter as text, never as markup, and stand for themselves: what is around them keeps its order.

import { shownLines, shownText } from "./shown.js";

// element("p", {class: "hint"}, "text", child, …)
export function element(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

// A name or text that somebody else has written.
export function foreign(text, limit) {
  return element("bdi", {}, shownText(text, limit));
}

export function foreignLines(text) {
  return element("bdi", {}, ...shownLines(text).flatMap((line, i) => [...(i === 0 ? [] : [element("br")]), line]));
}
