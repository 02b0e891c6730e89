// Every text that a customer reads, in the language that is spoken now. A language is three files: its words, its reasons, and what
// the view "Send to the shop" says.

import { SPOKEN_LANGUAGE } from "./language.js";
import { PARCEL_TEXTS_DE } from "./parcel_texts_de.js";
import { PARCEL_TEXTS_EN } from "./parcel_texts_en.js";
import { REASON_WORDS_DE } from "./reason_words_de.js";
import { REASON_WORDS_EN } from "./reason_words_en.js";
import { WORDS_DE } from "./words_de.js";
import { WORDS_EN } from "./words_en.js";

export const LANGUAGES = {
  en: { ...WORDS_EN, reasons: REASON_WORDS_EN, parcel: PARCEL_TEXTS_EN },
  de: { ...WORDS_DE, reasons: REASON_WORDS_DE, parcel: PARCEL_TEXTS_DE },
};

export const WORDS = {};

export function speak(code) {
  Object.assign(WORDS, LANGUAGES[code]);
  Object.assign(SPOKEN_LANGUAGE, { code, units: WORDS.units });
}

// Of the languages that a person wants, the first that there is.
export function languageFor(wanted) {
  return wanted.map((code) => code.toLowerCase().split("-")[0]).find((code) => Object.hasOwn(LANGUAGES, code)) ?? "en";
}

speak("en");
