// `node read_parcel.mjs PARCEL CUSTOMER TRUST`: what the page's reader finds in a parcel that the page saved, as JSON.
import fs from "node:fs";

import "./platform.mjs";
import { customerKey, readCustomerFile } from "../../src/page/customer_file.js";
import { agreementPair, isClosedParcel, openParcel } from "../../src/page/hpke.js";
import { customerFingerprint, readParcel } from "../../src/page/parcel.js";
import { readSheet } from "../../src/page/sheet.js";
import { readTrustFile } from "../../src/page/trust.js";
import { PARCEL_SECRET, sheetFile, trustFile } from "./parcel_shop.mjs";

const [parcelFile, customerFile, trustFileName] = process.argv.slice(2);
const load = (name) => new Uint8Array(fs.readFileSync(name));
let bytes = load(parcelFile);
if (isClosedParcel(bytes)) bytes = await openParcel(bytes, await agreementPair(new Uint8Array(PARCEL_SECRET)), parcelFile);
const trust = await readTrustFile(load(trustFileName), "", trustFileName);
const ours = await readTrustFile(new Uint8Array(trustFile()), "", "shop.trust");
const sheet = await readSheet(new Uint8Array(sheetFile()), ours, "shop.sheet");
const { parcel, keyId, contents } = await readParcel(bytes, parcelFile, { roots: [trust.rootId] });
const customer = await readCustomerFile(load(customerFile), customerFile);
console.log(JSON.stringify({
  parcel, fingerprint: customerFingerprint(keyId), contents: contents.map((one) => Buffer.from(one).toString("base64")), customer,
  customer_key: (await customerKey(customer.seed)).publicKey, root: trust.rootId, sheet_digest: sheet.digest,
}));
