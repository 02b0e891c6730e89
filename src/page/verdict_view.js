// A verdict as a person reads it: the first screen of a phone says what it is and what to do, all else comes below or is folded.

import { element, foreign } from "./dom.js";
import { keptPart } from "./kept_view.js";
import { phrase } from "./phrase.js";
import { cautionList, savingPart, writesNothing } from "./saving_view.js";
import { shownText } from "./shown.js";
import { checkedPart, phrasePart, receiptCodePart, technicalPart, trustPart, workPart } from "./technical_view.js";
import { rows } from "./rows_view.js";
import { WORDS } from "./words.js";

export function outcomeHeading(tag, outcome, attributes) {
  const { sign, word } = WORDS.outcome[outcome];
  return element(tag, { class: "outcome", ...attributes }, element("span", { class: "sign", "aria-hidden": "true" }, sign), word);
}

function actPart(tag, text) {
  return element("div", { class: "act" }, element(tag, {}, WORDS.act), element("p", {}, text));
}

// What it is about, as far as it is known: the trust file may not have been believed, or the seal be broken.
function facts(manifest, shop) {
  const { facts: terms, noCar } = WORDS;
  const about = manifest ? [
    [terms.car, manifest.vehicle_reference === "" ? noCar : foreign(manifest.vehicle_reference), true],
    [terms.revision, [String(manifest.revision), ...(manifest.title === "" ? [] : [", ", foreign(manifest.title)])], true],
  ] : [];
  const all = [...about, [terms.shop, shop ? foreign(shop) : ""]].filter(([, value]) => value !== "");
  return all.length === 0 ? [] : [rows(all, "facts")];
}

// What the shop's rules allow now and did not before comes before everything else.
function rulesPart({ reason, cautions }) {
  const text = !reason ? cautions.find(({ code }) => code === "rules-widened")?.text ?? "" : reason.code.startsWith("rules-") ? reason.found : "";
  return text === "" ? [] : [element("p", { class: "rules", lang: "en" }, `${text[0].toUpperCase()}${shownText(text, 1000).slice(1)}.`)];
}

function actHolds({ stateAfterWrite }, kept) {
  const { accepted } = WORDS;
  if (kept !== null && kept.fault === null) return accepted.actHoldsCustomer;
  return stateAfterWrite === "" ? accepted.actHolds : accepted.actHoldsState;
}

function plainWords(verdict, kept) {
  const shop = foreign(verdict.shop ?? "");
  const { accepted, authentic } = WORDS;
  if (verdict.outcome === "refused") return WORDS.reasons[verdict.reason.code];
  if (verdict.outcome === "authentic") return authentic;
  if (verdict.files.length > 0 && writesNothing(verdict)) {
    return { says: phrase(accepted.sayHolds, { shop }), act: actHolds(verdict, kept) };
  }
  return { says: phrase(verdict.vehicle === "asserted" ? accepted.sayRevived : accepted.says, { shop }), act: accepted.act };
}

// `colour` is a class; `words` {says, act}.
export function verdictCard(colour, { reason, shop }, manifest, words, heading, actTag, first, more) {
  return element("div", { class: `verdict ${colour}`, "data-reason": reason?.code ?? "" },
    element("div", { class: "first" }, heading, ...first, element("p", { class: "sentence" }, ...[words.says].flat()), actPart(actTag, words.act), ...facts(manifest, shop)),
    ...more);
}

function card(verdict, manifest, kept, heading, actTag, ...more) {
  return verdictCard(verdict.outcome, verdict, manifest, plainWords(verdict, kept), heading, actTag, rulesPart(verdict), more);
}

// What the seal says, below the chosen bundle.
export function showSeal(verdict) {
  const more = verdict.outcome === "authentic"
    ? [...phrasePart(verdict), trustPart(verdict)] : [technicalPart(verdict)];
  return [card(verdict, verdict.manifest, null, outcomeHeading("h3", verdict.outcome), "h4", ...more)];
}

// `manifest` is the verdict's, or the one whose seal held where a refusal came before it was read again; `toConfirm()` leads to the
// place where a write is confirmed; `kept` is what the customer file keeps of it, null without one.
export function describeVerdict(verdict, manifest, toConfirm, kept) {
  const title = outcomeHeading("h2", verdict.outcome, { id: "verdict-title", tabindex: "-1" });
  const more = verdict.outcome === "accepted"
    ? [...workPart(verdict), ...savingPart(verdict, toConfirm, kept), ...(writesNothing(verdict) ? phrasePart(verdict) : []), ...receiptCodePart(verdict), checkedPart(verdict)] : [...phrasePart(verdict), ...keptPart(kept, verdict)];
  return card(verdict, manifest, kept, title, "h3", ...more, technicalPart(verdict, verdict.outcome === "refused" ? cautionList(verdict) : []));
}
