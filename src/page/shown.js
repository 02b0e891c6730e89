// Foreign text as a person gets to see it: a name may not hide anything, turn the direction of what stands around it, or break a
// line. `printable` of bytes.js is the other checker's and stays as it is there; this one leaves nothing unseen.

import { escapedPoint } from "./bytes.js";

// Controls, format characters, line and paragraph separators, halves of characters, and all that is drawn as nothing (Unicode's
// Default_Ignorable_Code_Point): zero-width ones, tags, fillers.
const UNSEEN = /[\p{Cc}\p{Cf}\p{Zl}\p{Zp}\p{Cs}\p{Default_Ignorable_Code_Point}]/gu;
const NOTES_MOST = 4000;

// Not longer than `limit` characters before they are escaped.
export function shownText(text, limit = 200) {
  const characters = [...text.slice(0, 2 * limit + 2)];
  const shown = characters.slice(0, limit).join("").replace(UNSEEN, escapedPoint);
  return characters.length > limit ? `${shown}...` : shown;
}

// The lines of a text with line ends of any system; a tab is a blank.
export function shownLines(text) {
  return text.slice(0, NOTES_MOST).split(/\r\n|[\n\r\u0085\u2028\u2029]/).map((line) => shownText(line.replaceAll("\t", " "), NOTES_MOST));
}
