// A file that the page gives away: its button, and the row that says what it is.

import { exactSizeText } from "./amounts.js";
import { element } from "./dom.js";
import { phrase } from "./phrase.js";

export function saveBytes(name, bytes) {
  const url = URL.createObjectURL(new Blob([bytes], { type: "application/octet-stream" }));
  const link = element("a", { href: url, download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(url), 60000);
}

// {button, item}: `label` and `hint` say what it is, `saved()` is called when it was given away.
export function saveRow({ label, name, bytes, hint, saved = () => {} }) {
  const button = element("button", { type: "button", "aria-describedby": "save-hint" }, ...label);
  button.addEventListener("click", () => {
    saveBytes(name, bytes);
    saved();
  });
  return { button, item: element("li", {}, button, element("p", { class: "hint" }, ...phrase(hint, { size: exactSizeText(bytes.length) }))) };
}
