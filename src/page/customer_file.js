// What a customer's side keeps: his key, his numbers, and what it knows. docs/parcel.md, "The customer file".

import { concatBytes, fromHex, latin1, startsWith, toHex, utf8 } from "./bytes.js";
import { sha256 } from "./digest.js";
import { Refusal } from "./reason.js";
import {
  canonicalText, DIGEST, integerOf, isAscending, listOf, literalOf, NAME, objectOf, readCanonicalAs, textOf, VALUE,
} from "./schema.js";
import { STATE_MOST } from "./state.js";
import { checkFileSize } from "./statement.js";

const CUSTOMER_FILE_MOST = 2 ** 24;
export const CUSTOMER_NAME = "me.customer"; // under which it is saved
export const PARCEL_NUMBER_MOST = 2 ** 40;
export const SALTS_MOST = 256;
export const RECEIPTS_MOST = 1000;
const RECEIPT_MOST = 4096;
const SIGNING = { name: "Ed25519" };
const SECRET_START = fromHex("302e020100300506032b657004220420"); // PKCS#8 of an Ed25519 key (RFC 8410) up to its 32 bytes

const CUSTOMER_FILE = objectOf(
  ["calseal", VALUE],
  ["seed", DIGEST],
  ["number", integerOf(0, PARCEL_NUMBER_MOST)],
  ["salts", listOf(objectOf(["job", NAME], ["salt", DIGEST]), SALTS_MOST)],
  ["state", textOf(STATE_MOST)],
  ["receipts", listOf(textOf(RECEIPT_MOST), RECEIPTS_MOST)],
);

function invalidCustomerFile(name, place, found, expected) {
  return new Refusal("customer-file-invalid", {
    file: name, place, found, expected, next: "choose your customer file, unchanged; or begin a new one, and tell the shop that your key is new",
  });
}

export function newCustomer() {
  const seed = toHex(crypto.getRandomValues(new Uint8Array(32)));
  return { calseal: "customer/1", seed, number: 0, salts: [], state: "", receipts: [] };
}

export async function readCustomerFile(bytes, name) {
  checkFileSize(bytes, CUSTOMER_FILE_MOST, name);
  const literal = literalOf("customer/1");
  const end = bytes.indexOf(0x0a);
  if (!startsWith(bytes, literal) || end < 0) throw invalidCustomerFile(name, "line 1", "another beginning", literal);
  const line = bytes.subarray(0, end);
  const sum = await sha256(line);
  if (latin1(bytes.subarray(end + 1, end + 100)) !== `${sum}\n`) throw invalidCustomerFile(name, "line 2", "another sum", sum);
  const customer = readCanonicalAs("customer-file-invalid", line, CUSTOMER_FILE, name);
  if (!isAscending(customer.salts, ({ job }) => job)) {
    throw invalidCustomerFile(name, "/salts", "jobs out of order or twice", "jobs ascending, each once");
  }
  return customer;
}

export async function writeCustomerFile(customer) {
  const line = canonicalText(CUSTOMER_FILE, customer);
  const text = `${line}\n${await sha256(utf8(line))}\n`;
  checkFileSize(utf8(text), CUSTOMER_FILE_MOST, CUSTOMER_NAME);
  return text;
}

// The key of a seed: {publicKey, sign(bytes)}.
export async function customerKey(seed) {
  const secret = await crypto.subtle.importKey("pkcs8", concatBytes([SECRET_START, fromHex(seed)]), SIGNING, true, ["sign"]);
  const { x } = await crypto.subtle.exportKey("jwk", secret);
  const publicKey = toHex(Uint8Array.from(atob(x.replaceAll("-", "+").replaceAll("_", "/")), (c) => c.charCodeAt(0)));
  return { publicKey, sign: async (bytes) => new Uint8Array(await crypto.subtle.sign(SIGNING, secret, bytes)) };
}
