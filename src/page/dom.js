// Elements of the page. Texts of files enter as text, never as markup, and stand for themselves: what is around them keeps its order.

import { shownLines, shownText } from "./shown.js";

// element("p", {class: "hint"}, "text", child, …)
export function element(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

export function folded(title, ...children) {
  return element("details", {}, element("summary", {}, title), ...children);
}

// A name or text that somebody else has written.
export function foreign(text, limit) {
  return element("bdi", {}, shownText(text, limit));
}

export function foreignLines(text) {
  return element("bdi", {}, ...shownLines(text).flatMap((line, i) => [...(i === 0 ? [] : [element("br")]), line]));
}

// A text of words.js with its places filled: phrase("of {shop}", {shop: foreign(name)}) gives what an element can hold.
export function phrase(text, parts = {}) {
  return text.split(/(\{[a-z]+\})/i).filter((piece) => piece !== "").map((piece) => {
    const name = /^\{([a-z]+)\}$/i.exec(piece)?.[1];
    if (name === undefined) return piece;
    if (!Object.hasOwn(parts, name)) throw new RangeError(`no part for ${piece}`);
    return parts[name];
  });
}
