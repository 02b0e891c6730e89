// Files for page_looks_test.py: one invented controller, its revisions, and texts that try to mislead whoever reads them.
//
// usage: node write_looks.mjs FOLDER
import fs from "node:fs";
import path from "node:path";

import "./platform.mjs";
import { checkBundle } from "../../src/page/check.js";
import { allSituations, key, ROOT, trustPart } from "./scenarios.mjs";
import { AUTHOR, sealRevision } from "./small_shop.mjs";
import { ORDERED, readsOf, SALT, walnut } from "./walnut.mjs";

const folder = process.argv[2];
const put = (name, bytes) => fs.writeFileSync(path.join(folder, name), bytes);

export const LONG = "Overspecialisedturbochargerwastegatecalibrationheadquarters60";
// Turned round, nothing wide, a tag, a filler, a soft hyphen.
const HIDDEN = "\u202e\u200b\u{e0041}\u3164\u00ad";

const option = (title) => ({ name: "launch", title, digest: "ab".repeat(32) });

const missing = (title, why, name = "economy") => ({ ...ORDERED.ordered, options: [{ name, title, why }] });

function seal(name, job, change = {}) {
  const written = walnut(job);
  Object.assign(written.manifest, change);
  put(name, sealRevision(written));
  return written;
}

const good = seal("r1.calseal", { notes: "First line\nsecond line\r\nthird line\rfourth\u2028fifth", cautions: ["The clutch must be the stronger one."],
  options: [option("Launch control")], requirements: ["98 octane"] });
seal("r0.calseal", { revision: 0 });
seal("r2.calseal", { revision: 2, edits: [[0x41, 201], [0x62, 3]] });
seal("ordered.calseal", ORDERED);
seal("long.calseal", { notes: LONG, cautions: [LONG], options: [option(LONG)], ordered: missing("", LONG, LONG.toLowerCase()), requirements: [LONG], vehicle: LONG },
  { title: LONG, job: "j".repeat(60) });
seal("hidden.calseal", { notes: HIDDEN, cautions: [`c${HIDDEN}`], options: [option(`o${HIDDEN}`)], ordered: missing(`d${HIDDEN}`, `w${HIDDEN}`), requirements: [`q${HIDDEN}`],
  vehicle: `v${HIDDEN}` }, { title: `t${HIDDEN}` });
seal("rtl.calseal", { vehicle: "\u05d0\u05d1\u05d2 12", ordered: missing("\u05d0\u05d1", "\u05d2 12") }, { title: "\u05d0\u05d1\u05d2" });

const trustOf = (shop, signer) => trustPart({ shop }, ROOT, [key(AUTHOR, signer, ["author"])]).bytes;
put("shop.trust", trustOf("Example Shop", "Workshop key"));
put("hidden.trust", trustOf(`Shop${HIDDEN}end`, `Key${HIDDEN}end`));
put("rtl.trust", trustOf("\u05d0\u05d1\u05d2", "\u05d0\u05d1\u05d3"));
put("long.trust", trustOf(LONG, LONG));
put("shop.salt", `${SALT.toString("hex")}\n`);

function putReads(start, image) {
  for (const { memory, bytes } of readsOf(good.shape, image)) put(`${start}${memory}.bin`, bytes);
}
const otherCar = [...good.base];
otherCar[256 + 16] ^= 3;
putReads("my-", good.base);
putReads("after-", good.result);
putReads("other-car-", otherCar);
putReads("half-", good.result.map((byte, flat) => (flat < 0x43 ? byte : good.base[flat])));

const { files: set } = allSituations().find(({ name }) => name === "a set of two, the other way");
put("set-gearbox.calseal", set.bundle.bytes);
put("set-engine.calseal", set.partners[0].bytes);
put("set.trust", set.trust.bytes);
put("set-flash.bin", set.reads[0].bytes);

const damaged = Buffer.from(fs.readFileSync(path.join(folder, "r1.calseal")));
damaged[damaged.length >> 1] ^= 1;
put("damaged.calseal", damaged);

// What a checker remembers that has accepted revision 2.
const given = (name) => ({ name, bytes: new Uint8Array(fs.readFileSync(path.join(folder, name))) });
const newer = await checkBundle({
  bundle: given("r2.calseal"), trust: given("shop.trust"), reads: readsOf(good.shape, good.base), state: { name: "state", bytes: new Uint8Array() },
  evidence: { readIsFresh: true, salt: new Uint8Array(SALT), vehicleReference: "" }, now: "2026-03-05T00:00:00Z",
});
put("newer.state", newer.stateAfterWrite);
