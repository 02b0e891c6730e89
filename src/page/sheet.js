// The shop's sheet: what it offers and asks. docs/sheet.md.

import { sha256 } from "./digest.js";
import { isSmallAgreementKey } from "./hpke.js";
import { judgeStatementTrust } from "./judge.js";
import { CONTENT_SIZE_MOST } from "./manifest.js";
import {
  BOOLEAN, choiceOf, DIGEST, integerOf, isAscending, LINE, listOf, MAYBE_DIGEST, NAME, namesAreUnique, objectOf, textOf, TIME, VALUE,
} from "./schema.js";
import { placeOf, readSigned } from "./statements.js";

const SHEET_MOST = 2 ** 20;
const OFFERS_MOST = 256; // options, and every list of one
const QUESTIONS_MOST = 64;
const SHEET_READS_MOST = 16;
const NEEDS = objectOf(...["options", "fuel", "hardware"].map((key) => [key, listOf(NAME, OFFERS_MOST)]));

const SHEET = objectOf(
  ["calseal", VALUE],
  ["root", DIGEST],
  ["number", integerOf(1)],
  ["claimed_time", TIME],
  ["parcel_key", MAYBE_DIGEST],
  ["options", listOf(objectOf(
    ["name", NAME], ["title", LINE], ["purpose", textOf(4096)], ["controllers", listOf(NAME, OFFERS_MOST)],
    ["requires", NEEDS], ["excludes", NEEDS], ["cautions", listOf(LINE, OFFERS_MOST)],
  ), OFFERS_MOST)],
  ["questions", listOf(objectOf(
    ["name", NAME], ["text", LINE], ["kind", choiceOf("choice", "number", "text")], ["states", choiceOf("fuel", "hardware", "")],
    ["required", BOOLEAN], ["choices", listOf(objectOf(["name", NAME], ["text", LINE]), 64)],
  ), QUESTIONS_MOST)],
  ["reads", listOf(objectOf(
    ["controller", NAME], ["title", LINE],
    ["memories", listOf(objectOf(["name", NAME], ["size", integerOf(0, CONTENT_SIZE_MOST)]), 16)], ["again", BOOLEAN],
  ), SHEET_READS_MOST)],
  ["cautions", listOf(LINE, 64)],
);

function checkOffers({ options }, demand) {
  demand(isAscending(options, ({ name }) => name), "/options", "a name out of order or twice", "names ascending, each once");
  const offered = new Set(options.map(({ name }) => name));
  for (const [i, { name, controllers, requires, excludes }] of options.entries()) {
    demand(controllers.length > 0 && isAscending(controllers), `/options/${i}/controllers`, "none, or out of order", "at least one, ascending");
    for (const [side, needs] of Object.entries({ requires, excludes })) {
      demand(Object.values(needs).every((names) => isAscending(names)), `/options/${i}/${side}`, "names out of order or twice", "ascending, each once");
      const stray = needs.options.find((other) => other === name || !offered.has(other));
      demand(stray === undefined, `/options/${i}/${side}/options`, stray, "another option of this sheet");
    }
  }
}

function checkQuestions({ questions }, demand) {
  demand(namesAreUnique(questions), "/questions", "one name twice", "each name once");
  for (const [i, { kind, states, choices }] of questions.entries()) {
    const isChoice = kind === "choice";
    const count = isChoice ? choices.length >= 2 : choices.length === 0;
    demand(count, `/questions/${i}/choices`, `${choices.length} choices`, isChoice ? "from 2 to 64" : "none");
    demand(namesAreUnique(choices), `/questions/${i}/choices`, "one name twice", "each name once");
    demand(isChoice || states === "", `/questions/${i}/states`, states, "nothing, where there is no choice");
  }
}

function checkWanted({ reads }, demand) {
  demand(isAscending(reads, ({ controller }) => controller), "/reads", "a controller out of order or twice", "controllers ascending, each once");
  for (const [i, { memories }] of reads.entries()) {
    demand(memories.length > 0 && namesAreUnique(memories), `/reads/${i}/memories`, "none, or one name twice", "at least one, each name once");
  }
}

// Gives the fields, and besides `digest`, the SHA-256 of the signed bytes.
export async function readSheet(bytes, trust, name) {
  const { list: sheet, text, signers, demand } = await readSigned(bytes, "sheet/1", SHEET_MOST, "sheet-invalid", SHEET, trust, name);
  checkOffers(sheet, demand);
  checkQuestions(sheet, demand);
  checkWanted(sheet, demand);
  demand(sheet.parcel_key === "" || !isSmallAgreementKey(sheet.parcel_key), "/parcel_key", "a point of small order", "a key that a generator made");
  demand(sheet.root === trust.rootId, "/root", sheet.root, `the trust file's root ${trust.rootId}`);
  judgeStatementTrust(signers, "sheet", {}, sheet.claimed_time, placeOf, name);
  return { ...sheet, digest: await sha256(text) };
}
