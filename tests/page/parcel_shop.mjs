// `node parcel_shop.mjs FOLDER`: an invented shop with a sheet, and what a customer of it sends, for the tests in a browser. Prints the
// root's key id.
import crypto from "node:crypto";
import fs from "node:fs";
import path from "node:path";

import { keyOf, statement } from "./forge.mjs";

const ROOT = keyOf(31);
const SHEET_KEY = keyOf(32);
const AUTHOR = keyOf(34);
export const PARCEL_SECRET = Buffer.alloc(32, 35);
const TIME = "2030-05-01T10:00:00Z";
const none = { options: [], fuel: [], hardware: [] };

function x25519PublicKey(secret) {
  const der = Buffer.concat([Buffer.from("302e020100300506032b656e04220420", "hex"), secret]);
  return crypto.createPublicKey(crypto.createPrivateKey({ key: der, format: "der", type: "pkcs8" })).export({ format: "der", type: "spki" }).subarray(-32).toString("hex");
}

export function trustFile() {
  const listed = (key, name, roles) => ({
    id: key.id, public_key: key.publicKey, name, roles, jobs: [], controllers: [], region_maps: [], valid_from: "2026-01-01T00:00:00Z", valid_until: "", state: "active",
  });
  const keys = [listed(SHEET_KEY, "Sheet", ["sheet"]), listed(AUTHOR, "Author", ["author"])].sort((a, b) => (a.id < b.id ? -1 : 1));
  return statement({
    calseal: "trust/1", version: 1, shop: "Walnut Calibration", root: ROOT.publicKey, claimed_time: TIME, next_root: "", ledger_heads: [], policy: { threshold: 1 }, keys,
  }, [ROOT]);
}

export function sheetFile({ closed = false, number = 4 } = {}) {
  return statement({
    calseal: "sheet/1", root: ROOT.id, number, claimed_time: TIME, parcel_key: closed ? x25519PublicKey(PARCEL_SECRET) : "",
    options: [
      { name: "second-fan", title: "Second fan on the spare output", purpose: "Runs a second fan above 95 °C.", controllers: ["engine"], requires: { ...none, hardware: ["large-cooler"] }, excludes: none,
        cautions: ["The fan draws 20 A; its fuse must stand that."] },
      { name: "sport", title: "Firmer shifts", purpose: "", controllers: ["engine", "transmission"], requires: none, excludes: { ...none, options: ["towing"] }, cautions: ["Shifts are felt."] },
      { name: "towing", title: "Towing", purpose: "Holds gears longer under load.", controllers: ["transmission"], requires: none, excludes: { ...none, fuel: ["e85"] }, cautions: [] },
    ],
    questions: [
      { name: "fuel", text: "Which fuel do you drive with?", kind: "choice", states: "fuel", required: true,
        choices: [{ name: "e85", text: "E85" }, { name: "petrol-95", text: "Petrol, 95 octane" }, { name: "petrol-98", text: "Petrol, 98 octane" }] },
      { name: "cooler", text: "Which cooler is fitted?", kind: "choice", states: "hardware", required: false, choices: [{ name: "large-cooler", text: "The large one" }, { name: "small-cooler", text: "The small one" }] },
      { name: "mass", text: "How heavy is what you tow, in kg?", kind: "number", states: "", required: false, choices: [] },
      { name: "noise", text: "What noises does it make?", kind: "text", states: "", required: false, choices: [] },
    ],
    reads: [
      { controller: "engine", title: "Engine controller, behind the battery", memories: [{ name: "flash", size: 1048576 }, { name: "eeprom", size: 32768 }], again: true },
      { controller: "transmission", title: "Transmission controller, under the seat", memories: [{ name: "flash", size: 524288 }], again: false },
    ],
    cautions: ["A changed calibration can end warranty, type approval and insurance."],
  }, [SHEET_KEY]);
}

// Bytes that look like an image: neither blank nor repeated.
export function image(size, seed) {
  const bytes = Buffer.alloc(size);
  let state = seed;
  for (let i = 0; i < size; ++i) {
    state = (Math.imul(state, 1103515245) + 12345) >>> 0;
    bytes[i] = i % 64 < 40 ? (state >>> 24) & 0x3f : i >> 8;
  }
  return bytes;
}

// A drive, twenty lines a second.
export function logText(size) {
  const lines = ["time,rpm,speed,load,boost,iat,afr,gear\n"];
  let length = lines[0].length;
  let rpm = 900;
  for (let i = 0; length < size; ++i) {
    rpm += Math.round(30 * Math.sin(i / 50) + ((i * 7919) % 11) - 5);
    const wave = Math.sin(i / 120);
    const fields = [(i * 0.05).toFixed(2), rpm, (60 + 50 * Math.sin(i / 900)).toFixed(1), (40 + 35 * wave).toFixed(1), (1 + 0.8 * Math.max(0, wave)).toFixed(2), 30, 14.7,
      1 + (Math.floor(i / 700) % 6)];
    lines.push(`${fields.join(",")}\n`);
    length += lines.at(-1).length;
  }
  return lines.join("");
}

function writeShop(folder) {
  const put = (name, bytes) => fs.writeFileSync(path.join(folder, name), bytes);
  const flash = image(1048576, 1);
  const again = Buffer.from(flash);
  again.fill(0x11, 100, 200); // learned values that moved
  put("shop.trust", trustFile());
  put("shop.sheet", sheetFile());
  put("closed.sheet", sheetFile({ closed: true, number: 5 }));
  put("old.sheet", sheetFile({ number: 3 }));
  put("engine.bin", flash);
  put("engine-again.bin", again);
  put("eeprom.bin", image(32768, 3));
  put("transmission.bin", image(524288, 4));
  put("cut.bin", flash.subarray(0, 700001));
  put("blank.bin", Buffer.alloc(524288, 0xff));
  put("drive.csv", logText(200000));
  process.stdout.write(ROOT.id);
}

if (process.argv[1] === new URL(import.meta.url).pathname) writeShop(process.argv[2]);
