// The page's reading of parcels, sheets, customer files and looks, in the protocol of fixtures/parcels/README.md.
// `node parcel_page.mjs --lines`, or with a request's file.
import crypto from "node:crypto";
import fs from "node:fs";
import path from "node:path";
import readline from "node:readline";

import "../../page/platform.mjs";
import { customerKey, readCustomerFile } from "../../../src/page/customer_file.js";
import { agreementPair, isClosedParcel, openParcel } from "../../../src/page/hpke.js";
import { keyId } from "../../../src/page/key.js";
import { lookAtReads } from "../../../src/page/look.js";
import { readParcel } from "../../../src/page/parcel.js";
import { Refusal } from "../../../src/page/reason.js";
import { readSheet } from "../../../src/page/sheet.js";
import { readTrustChain } from "../../../src/page/succession.js";
import { readTrustFile } from "../../../src/page/trust.js";

const sha256 = (bytes) => crypto.createHash("sha256").update(bytes).digest("hex");

function load(value) {
  if (!value) return null;
  if (value.startsWith("base64:")) return { name: "given", bytes: new Uint8Array(Buffer.from(value.slice(7), "base64")) };
  return { name: path.basename(value), bytes: new Uint8Array(fs.readFileSync(value)) };
}

// Parcels that the job has: whose is the newest one, and the highest number by key.
async function known(earlier, changed) {
  if (earlier.length === 0) return null;
  const [newest, keys] = [{}, []];
  for (const one of earlier) {
    const file = load(one);
    const { parcel } = await readParcel(file.bytes, file.name);
    keys.push(parcel.key);
    newest[parcel.key] = Math.max(newest[parcel.key] ?? 0, parcel.number);
  }
  return { known: keys.at(-1), changed, newest };
}

async function judgeParcel(request) {
  const trust = load(request.trust);
  const chain = trust && await readTrustChain(trust, request.successions.map(load), "");
  const sheetFile = load(request.sheet);
  const sheet = sheetFile && await readSheet(sheetFile.bytes, chain.trust, sheetFile.name);
  const file = load(request.file);
  let opened = "";
  if (isClosedParcel(file.bytes)) {
    const secret = load(request.parcel_key);
    file.bytes = await openParcel(file.bytes, secret && await agreementPair(new Uint8Array(Buffer.from(Buffer.from(secret.bytes).toString(), "hex"))), file.name);
    opened = sha256(file.bytes);
  }
  const isTaken = request.job !== "";
  const { parcel, digest, keyId: key, contents, cautions } = await readParcel(file.bytes, file.name, {
    roots: chain && chain.roots, sheet,
    job: isTaken ? { job: request.job, vehicleReference: request.vehicle_reference } : null,
    customer: isTaken ? await known(request.earlier, request.customer_changed) : null,
  });
  return { cautions: cautions.map(({ code }) => code), results: { digest, key, number: parcel.number, contents: contents.map(sha256), opened } };
}

async function judgeSheet(request) {
  const [trust, file] = [load(request.trust), load(request.file)];
  const { digest } = await readSheet(file.bytes, await readTrustFile(trust.bytes, "", trust.name), file.name);
  return { cautions: [], results: { digest } };
}

async function judgeCustomer(request) {
  const file = load(request.file);
  const { seed, number } = await readCustomerFile(file.bytes, file.name);
  return { cautions: [], results: { key: await keyId((await customerKey(seed)).publicKey), number } };
}

function look({ reads, sizes }) {
  const wanted = [];
  for (const word of sizes) {
    const [, controller, name, size] = /^(.*?)\.(.*)=(\d+)$/.exec(word);
    wanted.push({ controller, memories: [{ name, size: Number(size) }] });
  }
  for (const one of wanted) one.memories = wanted.filter(({ controller }) => controller === one.controller).flatMap(({ memories }) => memories);
  const found = lookAtReads(reads.map((read) => ({ ...read, bytes: load(read.file).bytes })), wanted);
  return { cautions: [], results: { findings: found.flatMap((codes, i) => codes.map((code) => `reads/${i + 1}.bin ${code}`)) } };
}

async function answer(request) {
  try {
    const judged = await { parcel: judgeParcel, sheet: judgeSheet, customer: judgeCustomer, looks: look }[request.kind](request);
    return { id: request.id, outcome: "accepted", reason: "", ...judged };
  } catch (fault) {
    if (!(fault instanceof Refusal)) throw fault;
    return { id: request.id, outcome: "refused", reason: fault.code, cautions: [], results: {}, why: `${fault.place}: ${fault.found}` };
  }
}

if (process.argv[2] === "--lines") {
  for await (const line of readline.createInterface({ input: process.stdin })) console.log(JSON.stringify(await answer(JSON.parse(line))));
} else {
  console.log(JSON.stringify(await answer(JSON.parse(fs.readFileSync(process.argv[2], "utf8")))));
}
