// Which language the page speaks, for all that the words themselves need of it; words.js changes it.

export const SPOKEN_LANGUAGE = { code: "en", units: {} };
