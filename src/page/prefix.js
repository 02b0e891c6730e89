// The beginning of a bundle, manifest and signatures, and that of a parcel: all that is looked at before a signature holds. No
// JSON, no inflation, no central directory.

import { firstDifference, grouped, hexExcerpt, latin1, printable, readLittle, startsWith } from "./bytes.js";
import { localHeader, SIGNATURE_SIZE, signatureName, storedEntry } from "./framing.js";
import { Refusal } from "./reason.js";

const BUNDLE_LEAST = 98; // the three ZIP records of one entry, names left out
const BUNDLE_MOST = 2 ** 31 - 1;
export const MANIFEST_MOST = 2 ** 20;
export const SIGNATURES_MOST = 8;
const LOCAL_HEADER_SIZE = 30; // without the name
const SIGNATURE_NAME_SIZE = signatureName("0".repeat(64)).length;

// What two kinds of file that are framed alike are called, and which reasons their beginnings give.
const BUNDLE_FRAME = { first: "manifest.json", what: "bundle", size: "bundle-size", kind: "not-a-bundle", damaged: "prefix-damaged" };
export const PARCEL_FRAME = { first: "parcel.json", what: "parcel", size: "parcel-invalid", kind: "type-wrong", damaged: "parcel-invalid" };

function damagedPrefix(file, at, found, expected, frame) {
  return new Refusal(frame.damaged, {
    file, place: `byte ${at}`, found, expected, next: "copy or download the file again",
  });
}

function checkLocalHeader(bytes, at, entry, name, frame) {
  const header = localHeader(entry);
  const differs = firstDifference(bytes.subarray(at, at + header.length), header);
  if (differs < 0) return;
  const found = `${hexExcerpt(bytes.subarray(at + differs))} in the header of ${printable(entry.name)}`;
  throw damagedPrefix(name, at + differs, found, hexExcerpt(header.subarray(differs)), frame);
}

function readManifestBytes(bytes, name, frame) {
  const fixed = localHeader(storedEntry(frame.first, new Uint8Array()));
  for (let i = 0; i < fixed.length; ++i) {
    // CRC-32 and the size, twice, differ from file to file.
    if ((i >= 14 && i < 26) || bytes[i] === fixed[i]) continue;
    throw new Refusal(frame.kind, {
      file: name,
      place: `byte ${i}`,
      found: hexExcerpt(bytes.subarray(i, i + 1)),
      expected: `${hexExcerpt(fixed.subarray(i, i + 1))}, as every ${frame.what} has there`,
      next: "check that this is the right file",
    });
  }
  const size = readLittle(bytes, 18, 4);
  const most = Math.min(MANIFEST_MOST, bytes.length - fixed.length);
  if (size === 0 || size > most) {
    throw damagedPrefix(name, 18, `a ${frame.first} of ${grouped(size)} bytes`, `from 1 to ${grouped(most)} bytes`, frame);
  }
  const manifest = bytes.subarray(fixed.length, fixed.length + size);
  checkLocalHeader(bytes, 0, storedEntry(frame.first, manifest), name, frame);
  return manifest;
}

// The signature at an offset, or null where something else stands there.
function readSignature(bytes, at, before, name, frame) {
  const header = bytes.subarray(at, at + LOCAL_HEADER_SIZE);
  const entry = bytes.subarray(at + LOCAL_HEADER_SIZE, at + LOCAL_HEADER_SIZE + SIGNATURE_NAME_SIZE);
  if (!startsWith(header, "PK\x03\x04") || !startsWith(entry, "signatures/")) return null;
  if (before.length === SIGNATURES_MOST) throw damagedPrefix(name, at, "one more signature", `at most ${SIGNATURES_MOST}`, frame);
  const contentAt = at + LOCAL_HEADER_SIZE + SIGNATURE_NAME_SIZE;
  const signature = bytes.subarray(contentAt, contentAt + SIGNATURE_SIZE);
  if (signature.length < SIGNATURE_SIZE) throw damagedPrefix(name, bytes.length, "the end of the file", "a whole signature", frame);
  const entryName = latin1(entry);
  const keyId = /^signatures\/([0-9a-f]{64})\.sig$/.exec(entryName)?.[1];
  if (keyId === undefined) {
    const expected = "signatures/, 64 lower-case hexadecimal digits, .sig";
    throw damagedPrefix(name, at + LOCAL_HEADER_SIZE, `"${printable(entryName)}"`, expected, frame);
  }
  if (before.length > 0 && keyId <= before.at(-1).keyId) {
    throw damagedPrefix(name, at + LOCAL_HEADER_SIZE, keyId, "a larger key id than that of the signature before", frame);
  }
  checkLocalHeader(bytes, at, storedEntry(entryName, signature), name, frame);
  return { keyId, signature, end: contentAt + SIGNATURE_SIZE };
}

// Gives {frame, manifest, signatures: [{keyId, signature}], end}; `manifest` is the first entry's bytes, whatever its name.
export function readPrefix(bytes, name, frame = BUNDLE_FRAME) {
  if (bytes.length < BUNDLE_LEAST || bytes.length > BUNDLE_MOST) {
    throw new Refusal(frame.size, {
      file: name,
      found: `${grouped(bytes.length)} bytes`,
      expected: `from ${BUNDLE_LEAST} to ${grouped(BUNDLE_MOST)} bytes`,
      next: "check that this is the right file, and copy or download it again",
    });
  }
  const manifest = readManifestBytes(bytes, name, frame);
  const signatures = [];
  let end = manifest.byteOffset - bytes.byteOffset + manifest.length;
  for (;;) {
    const signature = readSignature(bytes, end, signatures, name, frame);
    if (signature === null) break;
    signatures.push(signature);
    end = signature.end;
  }
  if (signatures.length > 0 || frame !== BUNDLE_FRAME) return { frame, manifest, signatures, end };
  throw new Refusal("signature-missing", {
    file: name,
    place: `byte ${end}`,
    found: "no signature after the manifest",
    expected: `from 1 to ${SIGNATURES_MOST} signatures`,
    next: "ask the sender for the sealed bundle",
  });
}
