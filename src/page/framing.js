// The one framing that a bundle can have: every byte outside the stored bytes of entries follows from the manifest and
// the key ids of the signatures. It is made anew and compared; nothing is searched for.

import { concatBytes, firstDifference, hexExcerpt, littleEndian, printable, utf8 } from "./bytes.js";
import { crc32 } from "./digest.js";
import { Refusal } from "./reason.js";

export const SIGNATURE_SIZE = 64;
const ZIP_DATE = 0x0021; // 1980-01-01, the earliest that ZIP can say
const MADE_BY = 20;

export function signatureName(keyId) {
  return `signatures/${keyId}.sig`;
}

// What local and central header share, from "version needed" to the length of the extra field.
function sharedFields({ name, deflated, crc, storedSize, size }) {
  return [
    ...littleEndian(deflated ? 20 : 10, 2), // version needed to extract
    ...littleEndian(0, 2), // flags
    ...littleEndian(deflated ? 8 : 0, 2), // method
    ...littleEndian(0, 2), // time
    ...littleEndian(ZIP_DATE, 2),
    ...littleEndian(crc, 4),
    ...littleEndian(storedSize, 4),
    ...littleEndian(size, 4),
    ...littleEndian(name.length, 2),
    ...littleEndian(0, 2), // length of the extra field
  ];
}

export function localHeader(entry) {
  return Uint8Array.from([0x50, 0x4b, 3, 4, ...sharedFields(entry), ...utf8(entry.name)]);
}

export function centralHeader(entry) {
  const nothing = littleEndian(0, 10); // comment, disk, internal and external attributes
  const mark = [0x50, 0x4b, 1, 2, ...littleEndian(MADE_BY, 2)];
  return Uint8Array.from([...mark, ...sharedFields(entry), ...nothing, ...littleEndian(entry.headerAt, 4), ...utf8(entry.name)]);
}

export function endRecord(count, directorySize, directoryAt) {
  return Uint8Array.from([
    0x50, 0x4b, 5, 6,
    ...littleEndian(0, 4), // this disk, and the directory's
    ...littleEndian(count, 2),
    ...littleEndian(count, 2),
    ...littleEndian(directorySize, 4),
    ...littleEndian(directoryAt, 4),
    ...littleEndian(0, 2), // length of the comment
  ]);
}

export function storedEntry(name, content) {
  return { name, deflated: false, crc: crc32(content), storedSize: content.length, size: content.length };
}

// Entries in file order with the offsets of their headers and stored bytes.
export function layOut(prefix, manifest) {
  const entries = [
    storedEntry(prefix.frame.first, prefix.manifest),
    ...prefix.signatures.map(({ keyId, signature }) => storedEntry(signatureName(keyId), signature)),
    ...manifest.entries.map((entry) => ({
      name: entry.name,
      deflated: entry.method === "deflated",
      crc: entry.crc32,
      storedSize: entry.stored_size,
      size: entry.size,
    })),
  ];
  let at = 0;
  for (const entry of entries) {
    entry.headerAt = at;
    entry.storedAt = at + localHeader(entry).length;
    at = entry.storedAt + entry.storedSize;
  }
  return { entries, end: at };
}

function compareFraming(found, expected, at, what, name) {
  const differs = firstDifference(found, expected);
  if (differs < 0) return;
  throw new Refusal("framing-damaged", {
    file: name,
    place: `byte ${at + differs}, ${what}`,
    found: differs < found.length ? hexExcerpt(found.subarray(differs)) : "the end of the file",
    expected: differs < expected.length ? hexExcerpt(expected.subarray(differs)) : "the end of the file",
    next: "copy or download the file again",
  });
}

// Gives the stored bytes of each entry that the manifest lists, in its order.
export function verifyFraming(file, prefix, manifest, name) {
  const { entries, end } = layOut(prefix, manifest);
  for (const entry of entries) {
    const header = localHeader(entry);
    const found = file.subarray(entry.headerAt, entry.headerAt + header.length);
    compareFraming(found, header, entry.headerAt, `header of ${printable(entry.name)}`, name);
  }
  const directory = concatBytes(entries.map(centralHeader));
  const tail = concatBytes([directory, endRecord(entries.length, directory.length, end)]);
  // All that is left of the file, so that nothing can follow; a view costs nothing.
  compareFraming(file.subarray(end), tail, end, "central directory", name);
  const listed = entries.slice(1 + prefix.signatures.length);
  return listed.map(({ storedAt, storedSize }) => file.subarray(storedAt, storedAt + storedSize));
}
