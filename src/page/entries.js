// Contents of entries: stored bytes against their digests, inflation that never gives more than was declared.

import { addressText, concatBytes, grouped, printable } from "./bytes.js";
import { crc32, sha256 } from "./digest.js";
import { Refusal } from "./reason.js";

// Deflate gives at most 1,032 times as much, so one piece cannot fill the memory before the cap is looked at.
const INFLATE_PIECE = 16384;

// Under these digests stands everything that the signature over the manifest covers.
export async function verifyStoredDigests(storedBytes, manifest, name) {
  for (const [i, entry] of manifest.entries.entries()) {
    const digest = await sha256(storedBytes[i]);
    if (digest === entry.stored_digest) continue;
    throw new Refusal("stored-digest", {
      file: name,
      place: printable(entry.name),
      found: `SHA-256 ${digest}`,
      expected: entry.stored_digest,
      next: "copy or download the file again",
    });
  }
}

export async function feedStream(writable, bytes, piece) {
  const writer = writable.getWriter();
  try {
    for (let at = 0; at < bytes.length; at += piece) {
      await writer.ready;
      await writer.write(bytes.slice(at, at + piece));
    }
    await writer.close();
  } catch {
    // The reading side sees the same fault, and answers for it.
  }
}

// null unless the bytes are one whole deflate stream, nothing behind it, of exactly `size` bytes. That a stream which
// breaks off and one that is followed by anything are faults is what the Compression Streams Standard demands;
// platform.js tries it.
export async function inflate(bytes, size) {
  const stream = new DecompressionStream("deflate-raw");
  const fed = feedStream(stream.writable, bytes, INFLATE_PIECE);
  const reader = stream.readable.getReader();
  const pieces = [];
  let total = 0;
  try {
    for (;;) {
      const { done, value } = await reader.read();
      if (done) break;
      pieces.push(value);
      total += value.length;
      if (total > size) {
        await reader.cancel();
        return null;
      }
    }
  } catch {
    return null;
  } finally {
    await fed;
  }
  return total === size ? concatBytes(pieces) : null;
}

// The content of one entry, proved by size, CRC-32 and SHA-256.
export async function readContent(stored, entry, name) {
  const wrong = (found, expected) =>
    new Refusal("content-digest", {
      file: name,
      place: printable(entry.name),
      found,
      expected,
      next: "do not use this file; ask its sender for a new one",
    });
  const content = entry.method === "stored" ? stored : await inflate(stored, entry.size);
  if (content === null) {
    const expected = `one deflate stream of exactly ${grouped(entry.size)} bytes`;
    throw wrong("stored bytes that do not inflate to that size", expected);
  }
  if (content.length !== entry.size) throw wrong(`${content.length} bytes`, `${entry.size} bytes`);
  const crc = crc32(content);
  if (crc !== entry.crc32) throw wrong(`CRC-32 ${addressText(crc)}`, addressText(entry.crc32));
  const digest = await sha256(content);
  if (digest !== entry.digest) throw wrong(`SHA-256 ${digest}`, entry.digest);
  return content;
}
