// The manifest: its fields, in the order of the format's page.

import { latin1 } from "./bytes.js";
import { checkConsistency } from "./consistency.js";
import { Refusal } from "./reason.js";
import {
  ADDRESS, BOOLEAN, checkKind, choiceOf, DIGEST, integerOf, LINE, listOf, literalOf, MAYBE_DIGEST, MAYBE_NAME, MAYBE_TIME,
  NAME, objectOf, PLACE, RANGE, rangeOf, readCanonical, TEXT, TIME, VALUE,
} from "./schema.js";

const SEQUENCE_MOST = 2 ** 40;
const BASE_MOST = 1000000;
export const RETURNS_MOST = 1000;
const APPROVALS_MOST = 16;
const REVISION_MOST = SEQUENCE_MOST - 1;
const IMAGE_MOST = 2 ** 28;
export const CONTENT_SIZE_MOST = 2 ** 28;
const FILE_SIZE_MOST = 2 ** 31 - 1;
const MEMORIES_MOST = 16;
const LIST_MOST = 16384; // of a list without a limit of its own
const OPTIONS_MOST = 256; // in the revision, and ordered
const WORDS_MOST = 64;
const ENTRIES_MOST = 4096 - 1 - 8; // manifest and signatures are not listed

export const REVISION_NUMBER = integerOf(0, REVISION_MOST);
export const SEQUENCE_NUMBER = integerOf(1, SEQUENCE_MOST);
export const BASE_NUMBER = integerOf(1, BASE_MOST);
const CHECK_STATE = choiceOf("holds", "fails", "not-provable");
const PATCH_STATE = choiceOf("before", "after");

// Any number is read, so that a later format is told from a damaged one.
const FORMAT_NUMBER = {
  read(node) {
    if (integerOf(0).read(node) !== 1) node.refuse("format-unknown", String(node.value), "format 1");
    return 1;
  },
  write: () => 1,
};

const ANNOTATION = {
  read(node) {
    const pair = node.items(2);
    if (pair.length !== 2) node.refuse("json-value", `${pair.length} elements`, "[name, text]");
    return [NAME.read(pair[0]), TEXT.read(pair[1])];
  },
  write: (pair) => pair,
};

const CONTROLLER = objectOf(
  ["name", NAME],
  [
    "region_map",
    objectOf(["name", NAME], ["version", integerOf(1)], ["grade", choiceOf("draft", "verified")], ["digest", DIGEST]),
  ],
  [
    "memories",
    listOf(
      objectOf(
        ["name", NAME],
        ["extent", rangeOf("origin", IMAGE_MOST), "spread"],
        ["known", listOf(RANGE, LIST_MOST)],
      ),
      MEMORIES_MOST,
    ),
  ],
  ["identity", listOf(objectOf(["name", NAME], ["text", VALUE]), LIST_MOST)],
  ["binding", listOf(objectOf(["name", NAME], ...PLACE, ["digest", MAYBE_DIGEST]), LIST_MOST)],
  ["spans", listOf(objectOf(
    ...PLACE,
    ["kind", choiceOf("locked", "editable", "derived", "floating", "volatile", "binding")],
    ["before", MAYBE_DIGEST],
    ["after", MAYBE_DIGEST],
  ), LIST_MOST)],
  ["pinned", objectOf(["before", DIGEST], ["after", DIGEST])],
  [
    "files",
    listOf(
      objectOf(["memory", MAYBE_NAME], ["form", NAME], ["size", integerOf(1, FILE_SIZE_MOST)], ["digest", DIGEST]),
      MEMORIES_MOST,
    ),
  ],
  ["checksums", listOf(objectOf(["name", LINE], ["state", CHECK_STATE], ["value", VALUE]), LIST_MOST)],
  ["patches", listOf(objectOf(["name", NAME], ["base", PATCH_STATE], ["result", PATCH_STATE]), LIST_MOST)],
  ["write_ranges", listOf(objectOf(...PLACE), LIST_MOST)],
  ["payload", objectOf(
    ["kind", choiceOf("full", "areas")],
    ["parts", listOf(objectOf(["memory", NAME], ["entry", LINE], ["ranges", listOf(RANGE, LIST_MOST)]), MEMORIES_MOST)],
  )],
);

export const MANIFEST_ENTRY = objectOf(
  ["name", LINE], ["method", choiceOf("stored", "deflated")],
  ["stored_size", integerOf(0, CONTENT_SIZE_MOST)], ["stored_digest", DIGEST],
  ["size", integerOf(0, CONTENT_SIZE_MOST)], ["crc32", ADDRESS], ["digest", DIGEST],
);

const MANIFEST = objectOf(
  ["calseal", VALUE],
  ["format", FORMAT_NUMBER],
  ["job", NAME],
  ["base", objectOf(["number", BASE_NUMBER], ["reason", LINE])],
  ["revision", REVISION_NUMBER],
  ["sequence", SEQUENCE_NUMBER],
  ["parent", MAYBE_DIGEST],
  ["set", MAYBE_DIGEST],
  ["claimed_time", TIME],
  ["trial", BOOLEAN],
  ["expires", MAYBE_TIME],
  ["required_roles", listOf(choiceOf("author", "reviewer"), 2)],
  ["title", LINE],
  ["notes", TEXT],
  ["vehicle_reference", LINE],
  ["salt_digest", MAYBE_DIGEST],
  ["controllers", {
    read(node) {
      const list = listOf(CONTROLLER, 1).read(node);
      if (list.length === 0) node.refuse("json-value", "no controller", "exactly one controller");
      return list;
    },
    write: (list) => list.map(CONTROLLER.write),
  }],
  ["permitted_returns", listOf(DIGEST, RETURNS_MOST)],
  ["approvals", listOf(TEXT, APPROVALS_MOST)],
  ["options", listOf(objectOf(["name", NAME], ["title", LINE], ["digest", DIGEST]), OPTIONS_MOST)],
  ["ordered", objectOf(
    ["time", MAYBE_TIME],
    ["parcel", MAYBE_DIGEST],
    ["options", listOf(objectOf(["name", NAME], ["title", LINE], ["why", LINE]), OPTIONS_MOST)],
  )],
  ["requirements", listOf(LINE, WORDS_MOST)],
  ["cautions", listOf(LINE, WORDS_MOST)],
  ["attachments", listOf(objectOf(["entry", LINE], ["title", LINE]), WORDS_MOST)],
  ["annotations", listOf(ANNOTATION, WORDS_MOST)],
  ["tool", LINE],
  ["entries", listOf(MANIFEST_ENTRY, ENTRIES_MOST)],
);

// The format number where the canonical text has it, before anything else is read: a later format may look otherwise
// from there on.
function checkFormat(bytes, name) {
  const rest = latin1(bytes.subarray(literalOf("revision/1").length, 100));
  const digits = /^"format":(0|[1-9][0-9]{0,15})(?![0-9])/.exec(rest)?.[1];
  if (digits === undefined || digits === "1") return;
  throw new Refusal("format-unknown", {
    file: name, place: "/format", found: digits, expected: "format 1", next: "use a newer reader for this file",
  });
}

export async function readManifest(bytes, name) {
  checkKind(bytes, "revision/1", name);
  checkFormat(bytes, name);
  const manifest = readCanonical(bytes, MANIFEST, name);
  await checkConsistency(manifest, name);
  return manifest;
}
