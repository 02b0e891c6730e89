// Elements of the page. Texts of files enter as text, never as markup, and stand for themselves: what is around them keeps its order.

import { shownLines, shownText } from "./shown.js";

// A node that knows how it is told, and is told anew in another language.
function told(node, tell) {
  node.retell = tell;
  tell();
  return node;
}

function liveText(make) {
  const node = document.createTextNode("");
  return told(node, () => {
    node.data = make();
  });
}

// element("p", {class: "hint"}, "text", child, …); a function in the place of a text gives it in the language that is spoken now.
export function element(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  const live = Object.entries(attributes).filter(([, value]) => typeof value === "function");
  for (const [name, value] of Object.entries(attributes)) if (typeof value !== "function") made.setAttribute(name, value);
  if (live.length > 0) {
    told(made, () => {
      for (const [name, make] of live) made.setAttribute(name, make());
    });
  }
  made.append(...children.map((child) => (typeof child === "function" ? liveText(child) : child)));
  return made;
}

export function folded(title, ...children) {
  return element("details", {}, element("summary", {}, title), ...children);
}

// Fills a place with what `make()` gives, now and in each language that is spoken later.
export function tell(place, make) {
  told(place, () => place.replaceChildren(...[make()].flat()));
}

// The same for a place in which a person unfolds and ticks: that stays.
export function tellKeeping(place, make) {
  told(place, () => {
    const unfolded = [...place.querySelectorAll("details")].map(({ open }) => open);
    const ticked = [...place.querySelectorAll("input:checked")].map(({ id }) => id);
    place.replaceChildren(...[make()].flat());
    place.querySelectorAll("details").forEach((part, i) => {
      part.open = unfolded[i] ?? false;
    });
    for (const box of place.querySelectorAll("input")) if (ticked.includes(box.id)) box.click();
  });
}

// Everything that is shown, in the language that is spoken now.
export function retell(root) {
  const all = [];
  const walk = document.createTreeWalker(root, NodeFilter.SHOW_ELEMENT | NodeFilter.SHOW_TEXT);
  for (let node = walk.currentNode; node !== null; node = walk.nextNode()) if (node.retell !== undefined) all.push(node);
  for (const node of all) if (node.isConnected) node.retell();
}

// A name or text that somebody else has written.
export function foreign(text, limit) {
  return element("bdi", {}, shownText(text, limit));
}

export function foreignLines(text) {
  return element("bdi", {}, ...shownLines(text).flatMap((line, i) => [...(i === 0 ? [] : [element("br")]), line]));
}
