// Texts with marked places, "of {shop}": a language puts them where it likes.

// phrase("of {shop}", {shop: foreign(name)}) gives what an element can hold.
export function phrase(text, parts = {}) {
  return text.split(/(\{[a-z]+\})/i).filter((piece) => piece !== "").map((piece) => {
    const name = /^\{([a-z]+)\}$/i.exec(piece)?.[1];
    if (name === undefined) return piece;
    if (!Object.hasOwn(parts, name)) throw new RangeError(`no part for ${piece}`);
    return parts[name];
  });
}

// The same of texts and numbers, as one text.
export function filled(text, parts) {
  return phrase(text, parts).join("");
}
