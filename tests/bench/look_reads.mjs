// What the customer's page sees in the reads that damaged_reads has drawn, beside what `receive` makes of them. Prints the Markdown
// table of docs/measurements.md.
//
// usage: node look_reads.mjs FOLDER
import fs from "node:fs";
import path from "node:path";

import { lookAtReads } from "../../src/page/look.js";

const PLACE = { controller: "engine", memory: "flash" };

function drawnIn(folder) {
  const file = (name) => new Uint8Array(fs.readFileSync(path.join(folder, name)));
  return fs.readFileSync(path.join(folder, "index.jsonl"), "utf8").trim().split("\n").map(JSON.parse)
    .map((line) => ({ ...line, read: () => file(`${line.name}.read`), first: () => file(`${line.name}.first`) }));
}

function wantedOf(size) {
  return [{ controller: PLACE.controller, title: "", memories: [{ name: PLACE.memory, size }], again: true }];
}

// The codes of a read in the three situations of a customer: without a sheet; the sheet says the size; a good read was chosen before it.
function looked({ size, read, first }) {
  const one = { ...PLACE, series: 1, bytes: read() };
  const two = [{ ...one, bytes: first() }, { ...one, series: 2 }];
  return { alone: lookAtReads([one], [])[0], sized: lookAtReads([one], wantedOf(size))[0], second: lookAtReads(two, wantedOf(size))[1] };
}

function rowsOf(drawn) {
  const rows = new Map();
  for (const one of drawn) {
    const row = rows.get(one.damage) ?? { reads: 0, detected: 0, named: 0, alone: 0, sized: 0, second: 0, codes: new Set() };
    rows.set(one.damage, row);
    const seen = looked(one);
    row.reads += 1;
    row.detected += one.sound ? 0 : 1;
    row.named += one.named !== "" && one.named === one.damage ? 1 : 0;
    for (const where of ["alone", "sized", "second"]) {
      row[where] += seen[where].length > 0 ? 1 : 0;
      for (const code of seen[where]) row.codes.add(code);
    }
  }
  return rows;
}

function textOf(title, { reads, detected, named, alone, sized, second, codes }) {
  return `| ${title} | ${[reads, detected, named, alone, sized, second].join(" | ")} | ${[...codes].sort().map((code) => `\`${code}\``).join(", ")} |`;
}

function sumOf(rows) {
  const sum = { codes: [] };
  for (const name of ["reads", "detected", "named", "alone", "sized", "second"]) sum[name] = rows.reduce((all, row) => all + row[name], 0);
  return sum;
}

const rows = rowsOf(drawnIn(process.argv[2]));
const good = rows.get("");
rows.delete("");
console.log("| damage | reads | `receive`: detected | named first | page: no size known | the sheet's size known | after a good read | by |");
console.log("| --- | ---: | ---: | ---: | ---: | ---: | ---: | --- |");
for (const [damage, row] of rows) console.log(textOf(`\`${damage}\``, row));
console.log(textOf("all", sumOf([...rows.values()])));
console.log(textOf("none: false alarms", good));
