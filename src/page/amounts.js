// Numbers, sizes, times and lists as the language of the page writes them.

import { SPOKEN_LANGUAGE } from "./language.js";

export function countText(number) {
  return number.toLocaleString(SPOKEN_LANGUAGE.code);
}

export function bytesAmount(count) {
  const { byte, bytes } = SPOKEN_LANGUAGE.units;
  return `${countText(count)} ${count === 1 ? byte : bytes}`;
}

const UNITS = [[2 ** 20, "MiB"], [2 ** 10, "KiB"]];

// In the largest unit that leaves no rest, so that two sizes can be compared.
export function exactSizeText(size) {
  const unit = UNITS.find(([one]) => size >= one && size % one === 0);
  return unit === undefined ? bytesAmount(size) : `${countText(size / unit[0])} ${unit[1]}`;
}

// As large as a person needs to know it.
export function sizeText(size) {
  if (size < 10000) return bytesAmount(size);
  if (size < 2 ** 20) return `${countText(Math.round(size / 1024))} KiB`;
  return `${(size / 2 ** 20).toLocaleString(SPOKEN_LANGUAGE.code, { minimumFractionDigits: 1, maximumFractionDigits: 1 })} MiB`;
}

// "4 March 2026 at 05:06 UTC": signed times are in UTC, and so is this.
export function signedTimeText(time) {
  return `${new Date(time).toLocaleString(SPOKEN_LANGUAGE.code, { dateStyle: "long", timeStyle: "short", timeZone: "UTC" })} UTC`;
}

export function signedDateText(time) {
  return new Date(time).toLocaleString(SPOKEN_LANGUAGE.code, { dateStyle: "long", timeZone: "UTC" });
}

// "a, b and c"
export function listText(names) {
  return names.length < 2 ? names.join("") : `${names.slice(0, -1).join(", ")} ${SPOKEN_LANGUAGE.units.and} ${names.at(-1)}`;
}

export function quotedText(names) {
  return listText(names.map((name) => SPOKEN_LANGUAGE.units.quoted.replace("{name}", () => name)));
}
