// Everything that the view "Send to the shop" says, in one place.

import { bytesText, grouped } from "./bytes.js";

export function sizeText(size) {
  if (size < 10000) return bytesText(size);
  return size < 2 ** 20 ? `${grouped(Math.round(size / 1024))} KiB` : `${(size / 2 ** 20).toFixed(1)} MiB`;
}

function listText(names) {
  return names.length < 2 ? names.join("") : `${names.slice(0, -1).join(", ")} and ${names.at(-1)}`;
}

function quotedText(names) {
  return listText(names.map((name) => `“${name}”`));
}

export const PARCEL_TEXTS = {
  title: (shop) => `Send to ${shop}`,
  lead: "Choose what you want to send: reads of your controllers, drive logs, an order, or just a few words. This page packs all of it into one file, " +
    "the parcel, and signs it with a key of your own. It sends nothing: you send the file yourself, as you always do.",
  back: "Back to checking a revision",
  noTrust: "The shop's trust file in this page is damaged, so nothing can be made here. Ask the shop for a new page.",
  optional: "(may stay empty)",
  required: "(must be answered)",
  remove: (name) => `Remove ${name}`,
  removeWord: "Remove",
  moment: "One moment …",
  plain: {
    "type-wrong": "it is another kind of file.", "not-a-bundle": "it is another kind of file.", "signer-unknown": "it is not from this shop.",
    "sheet-invalid": "it is damaged, or from another shop.", "customer-file-invalid": "it is damaged, or another kind of file.",
  },

  sheetTitle: "What the shop offers",
  sheetHave: (shop, number, time) => `Sheet ${number} of ${shop}, of ${time.slice(0, 10)}.`,
  sheetNone: "No sheet yet: you can send files and words. With the shop's sheet you can also order, and the page knows which reads are wanted.",
  sheetField: "The shop's sheet (.sheet)",
  sheetNewer: "A newer sheet from the shop (.sheet)",
  sheetBad: (meaning) => `This file is not used: ${meaning}`,
  sheetOlder: (number, have) => `That is sheet ${number}, and this page already has sheet ${have}, which is newer. The newer one is used.`,
  sheetChanged: "What you ticked and answered begins anew with it.",

  readsTitle: "Reads of your controllers",
  readsHint: "All files as your reader saved them, many at once if you like. Stay with the vehicle until this page has looked at them.",
  readsField: "Add reads",
  readPlace: (name) => `What ${name} is a read of`,
  readPlaceShort: "This is a read of",
  unknownPlace: "I am not sure",
  wholeController: (title) => `several memories, or not sure which: ${title}`,
  memoryPlace: (title, memory) => `${memory}: ${title}`,
  series: (series) => (series === 1 ? "First read" : `Read ${series} of the same`),
  wantedTitle: "The shop would like",
  wantedMemory: (memory, size, state) => `${memory}${size === 0 ? "" : ` (${bytesText(size)})`}: ${state}.`,
  wantedMissing: "not chosen yet",
  wantedGiven: "chosen",
  wantedAgain: "chosen once; read it a second time too",

  lookNothing: "Nothing about this read looks wrong.",
  noPlace: (sizes) => `The shop's sheet has no read of this size${sizes === "" ? "" : ` (it has ${sizes})`}. Choose what it is a read of, if you know.`,
  look: {
    "blank": () => "Most of this read is blank.",
    "cut-off": ({ size }) => `This read is cut off: ${bytesText(size)} is no size that a memory has.`,
    "differs": () => "This read and your first one of the same memory differ in many places, so one of the two went wrong.",
    "empty": () => "This file is empty.",
    "repeated": () => "The same piece comes again and again in this read, so your reader did not get past it.",
    "same": ({ others }) => `This is the very same file as ${listText(others)}, but you say that it is a read of something else. Choose another file for one of them.`,
    "size": ({ size, wanted }) =>
      `This read has ${bytesText(size)}, and the shop expects ${bytesText(wanted)}. ` +
      (size < wanted ? "It is cut off, or a read of something else." : "It is probably a read of something else: say what it is, or choose another file."),
  },
  readAgain: "Read the controller again while you are in the car.",
  seen: {
    "blank": "mostly blank", "cut-off": "cut off", "differs": "differs from the first read", "empty": "empty", "repeated": "the same piece again and again",
    "same": "the same file as another read", "size": "not the size that the shop expects",
  },
  lookFailed: "This file can no longer be read. Remove it here and choose it again.",

  logsTitle: "Drive logs",
  logsHint: "As your logger saved them. They can hold places and times.",
  logsField: "Add logs",
  logsRevision: (revision) => `These logs were driven with ${revision}.`,

  orderTitle: "Your order",
  orderHint: "Tick everything that you want in the end, also what you already have: the shop takes this list as the whole order.",
  optionFor: (controllers) => `For ${listText(controllers)}.`,
  optionNeeds: (names) => `Needs ${quotedText(names)}.`,
  optionExcludes: (names) => `Does not go with ${quotedText(names)}.`,
  optionLacks: (names) => `This needs ${quotedText(names)}, which you did not choose. The shop will ask you about it.`,
  optionClashes: (names) => `This does not go with ${quotedText(names)}, which you chose. The shop will ask you about it.`,

  questionsTitle: "Questions from the shop",
  noAnswer: "No answer",
  cautionsTitle: "Before you order: accept each",
  cautionsHint: "The shop asks you to accept these. Your ticks go into the parcel, word for word.",

  wordsTitle: "Your words",
  wordsField: "What the shop should know",
  wordsHint: "What you want changed, what you noticed, when you drove.",
  vehicleField: "Vehicle reference",
  vehicleHint: "The word by which you and the shop call this vehicle, such as “blue estate”. Not the VIN.",
  moreTitle: "If you had work done by this shop before",
  bundleField: "The newest bundle from the shop (.calseal)",
  bundleHint: "Then the parcel says which job it belongs to.",
  bundleGood: (job, revision) => `Job ${job}, ${revision}.`,
  bundleBad: (meaning) => `This bundle is not used: ${meaning}`,
  revision: ({ controller, revision }) => `revision ${revision} of ${controller}`,
  customerField: "Your customer file (me.customer)",
  customerHint: "The file that this page gave you with your last parcel. With it the shop knows you by the same key. Without it a new key is made.",
  customerGood: (number) => `Your key is in it. Parcels made so far: ${grouped(number)}.`,
  customerBad: (meaning) => `This file is not used: ${meaning} Without one, a new key is made.`,

  cannotClose: "This browser is too old to close a parcel for the shop's eyes only. Use a newer browser; or send it open, over a way that only you and the shop can read.",
  sendOpen: "Send it open: whoever gets the file can read it.",

  make: "Make the parcel",
  making: "Making the parcel …",
  packing: (index, count) => `Packing file ${index + 1} of ${count} …`,
  problems: (count) => (count === 1 ? "One thing is missing" : `${count} things are missing`),
  problemEmpty: "There is nothing to send yet: add a read or a log, order something, or write a few words.",
  problemQuestion: (text) => `Answer the question “${text}”.`,
  problemCautions: (count) => (count === 1 ? "Accept the caution that is not ticked yet." : `Accept the ${count} cautions that are not ticked yet.`),
  problemLong: (what, most) => `${what} is too long: at most ${grouped(most)} bytes.`,
  problemMany: (what, most) => `There are too many ${what}: at most ${most}.`,
  problemLarge: (name, most) => `The file ${name} is too large: at most ${sizeText(most)}. Remove it, or save it in parts.`,
  problemTogether: (most) => `All files together are too large: at most ${sizeText(most)}. Send some of them in a second parcel.`,
  problemClose: "Use a newer browser, or tick that you send it open.",
  failed: (meaning) => `No parcel was made. ${meaning}`,
  failedFile: "A file that you chose can no longer be read. Remove it from the list and choose it again.",
  failedMemory: "This device has too little memory for so many files at once. Leave out the largest log and send it in a second parcel.",

  readyTitle: "Your parcel is ready",
  ready: "Save both files now. Then send the parcel to the shop, by mail, chat or stick. This page has sent nothing and keeps nothing.",
  saveParcel: (name, size) => `Save the parcel: ${name} (${sizeText(size)})`,
  saveCustomer: (name) => `Save your customer file: ${name}`,
  saveCustomerHint: "Keep it to yourself and choose it next time. It holds your key, by which the shop knows you. If you lose it, no harm is done: the next parcel gets a new key, and the shop asks you.",
  keyTitle: "Your key",
  keyNew: "The shop does not know this key yet. Read this code to the shop on the telephone, so that it knows the parcel is from you:",
  keyKnown: "The shop knows this key if it took a parcel of yours before. If it asks, read this code to it:",
  insideTitle: "What is in it",
  closedWord: "Closed: only this shop can open it. Whoever else gets the file sees its size and nothing more.",
  openWord: "Open: whoever gets the file can read your reads, with VIN and learned values, your logs, with places and times, and your words.",
  rows: {
    shop: "For", number: "Parcel number", size: "Size", closed: "Who can read it", job: "Job", vehicle: "Vehicle", reads: "Reads", logs: "Logs", order: "Order",
    answers: "Answers", accepted: "Accepted cautions", words: "Words", seen: "What this page saw", missing: "Wanted, but not in it",
  },
  nothing: "none",
  changed: "You changed something, so the parcel was taken back. Make it again when you are done.",
};
