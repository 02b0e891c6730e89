// The parcel that was made, in the view "Send to the shop": what to save, the key to be read out, what is in it.

import { countText, sizeText } from "./amounts.js";
import { printable } from "./bytes.js";
import { CUSTOMER_NAME } from "./customer_file.js";
import { WORDS } from "./words.js";
import { element, foreign } from "./dom.js";
import { saveBytes } from "./save_button.js";

function saver(label, name, bytes, className) {
  const button = element("button", { type: "button", class: className }, label);
  button.addEventListener("click", () => saveBytes(name, bytes));
  return button;
}

function lines(texts) {
  return texts.length === 0 ? WORDS.parcel.nothing : element("ul", { class: "pcl-plain" }, ...texts.map((text) => element("li", {}, text)));
}

function readText({ entry, controller, memory, series, file_name: name }, { entries }, titles) {
  const size = sizeText(entries.find((one) => one.name === entry).size);
  const place = [titles.get(controller) ?? controller, memory].filter((text) => text !== "").join(", ");
  const what = place === "" ? "" : `: ${place}`;
  return `${printable(name, 80)} (${size})${what}${series > 1 ? `, ${WORDS.parcel.seriesInside(series)}` : ""}`;
}

function insideRows(made, { shop, titleOf, titles, missing, closed, questionOf }) {
  const { parcel } = made;
  const rows = WORDS.parcel.rows;
  const seen = parcel.findings.map(({ entry, code }) => `${printable(parcel.reads.find((read) => read.entry === entry).file_name, 80)}: ${WORDS.parcel.seen[code]}`);
  return [
    [rows.shop, foreign(shop)], [rows.number, countText(parcel.number)], [rows.size, sizeText(made.bytes.length)],
    [rows.closed, closed ? WORDS.parcel.closedWord : WORDS.parcel.openWord],
    [rows.job, parcel.job], [rows.vehicle, printable(parcel.vehicle_reference)],
    [rows.reads, lines(parcel.reads.map((read) => readText(read, parcel, titles)))],
    [rows.seen, seen.length === 0 ? "" : lines(seen)],
    [rows.missing, missing.length === 0 ? "" : lines(missing)],
    [rows.logs, lines(parcel.logs.map(({ entry, file_name: name }) => `${printable(name, 80)} (${sizeText(parcel.entries.find((one) => one.name === entry).size)})`))],
    [rows.order, lines(parcel.order.map(titleOf))],
    [rows.answers, parcel.answers.length === 0 ? "" : lines(parcel.answers.map(({ question, answer }) => `${questionOf(question)} ${titleOf(printable(answer, 200))}`))],
    [rows.accepted, parcel.accepted.length === 0 ? "" : lines(parcel.accepted.map((text) => printable(text)))],
    [rows.words, printable(parcel.words, 400)],
  ].filter(([, value]) => value !== "");
}

// `made` is what packParcel() gives; `about` {shop, titleOf, titles, missing, closed, questionOf, isNewKey}.
export function describeReady(made, about) {
  const name = `to-shop-${made.parcel.number}.parcel`;
  return [
    element("h2", { id: "pcl-ready-title", tabindex: "-1" }, element("span", { class: "pcl-sign", "aria-hidden": "true" }, "✓"), " ", WORDS.parcel.readyTitle),
    element("p", {}, WORDS.parcel.ready),
    element("p", {}, saver(WORDS.parcel.saveParcel(name, made.bytes.length), name, made.bytes, "pcl-major")),
    element("p", {}, saver(WORDS.parcel.saveCustomer(CUSTOMER_NAME), CUSTOMER_NAME, new TextEncoder().encode(made.customerText), "pcl-major")),
    element("p", { class: "pcl-hint" }, WORDS.parcel.saveCustomerHint),
    element("h3", {}, WORDS.parcel.keyTitle),
    element("p", {}, about.isNewKey ? WORDS.parcel.keyNew : WORDS.parcel.keyKnown),
    element("p", { class: "pcl-code", id: "pcl-fingerprint" }, made.fingerprint),
    element("h3", {}, WORDS.parcel.insideTitle),
    element("dl", { class: "pcl-rows" }, ...insideRows(made, about).flatMap(([term, value]) => [element("dt", {}, term), element("dd", {}, value)])),
  ];
}
