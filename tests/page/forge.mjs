// A shop that seals whatever it is told to, with the worthless keys of the vectors: for files that are wrong and well signed.
import crypto from "node:crypto";
import zlib from "node:zlib";

const PKCS8_START = Buffer.from("302e020100300506032b657004220420", "hex"); // RFC 8410, up to the 32 bytes

export function sha256Hex(bytes) {
  return crypto.createHash("sha256").update(bytes).digest("hex");
}

// The private key is 32 times one byte, as in fixtures/bundles/README.md.
export function keyOf(byte) {
  const der = Buffer.concat([PKCS8_START, Buffer.alloc(32, byte)]);
  return keyFrom(crypto.createPrivateKey({ key: der, format: "der", type: "pkcs8" }));
}

export function keyFrom(secret) {
  const spki = crypto.createPublicKey(secret).export({ format: "der", type: "spki" });
  return { secret, id: sha256Hex(spki), publicKey: spki.subarray(12).toString("hex") };
}

function sign(key, text) {
  return crypto.sign(null, text, key.secret);
}

function ascending(keys) {
  return [...keys].sort((a, b) => (a.id < b.id ? -1 : 1));
}

// `text` is the first line: a string, bytes, or a value of which the canonical text is taken.
function bytesOf(text) {
  if (text instanceof Uint8Array) return Buffer.from(text);
  return Buffer.from(typeof text === "string" ? text : JSON.stringify(text));
}

export function statement(text, keys) {
  const line = bytesOf(text);
  const lines = ascending(keys).map((key) => `${key.id} ${sign(key, line).toString("hex")}\n`);
  return Buffer.concat([line, Buffer.from("\n" + lines.join(""))]);
}

export function state(text) {
  const line = bytesOf(text);
  return Buffer.concat([line, Buffer.from(`\n${sha256Hex(line)}\n`)]);
}

const CRC_TABLE = Int32Array.from({ length: 256 }, (_, byte) => {
  let crc = byte;
  for (let bit = 0; bit < 8; ++bit) crc = crc & 1 ? (crc >>> 1) ^ 0xedb88320 : crc >>> 1;
  return crc;
});

function crcOf(bytes) {
  let crc = -1;
  for (const byte of bytes) crc = (crc >>> 8) ^ CRC_TABLE[(crc ^ byte) & 0xff];
  return (crc ^ -1) >>> 0;
}

function shared(entry) {
  const out = Buffer.alloc(26);
  out.writeUInt16LE(entry.deflated ? 20 : 10, 0);
  out.writeUInt16LE(entry.deflated ? 8 : 0, 4);
  out.writeUInt16LE(0x21, 8);
  out.writeUInt32LE(entry.crc, 10);
  out.writeUInt32LE(entry.stored.length, 14);
  out.writeUInt32LE(entry.size, 18);
  out.writeUInt16LE(entry.name.length, 22);
  return out;
}

function zip(entries) {
  const locals = [];
  const centrals = [];
  let at = 0;
  for (const entry of entries) {
    const name = Buffer.from(entry.name);
    const tail = Buffer.alloc(14);
    tail.writeUInt32LE(at, 10);
    const local = Buffer.concat([Buffer.from("PK\x03\x04"), shared(entry), name, entry.stored]);
    centrals.push(Buffer.from("PK\x01\x02\x14\x00"), shared(entry), tail, name);
    locals.push(local);
    at += local.length;
  }
  const directory = Buffer.concat(centrals);
  const end = Buffer.alloc(22);
  end.write("PK\x05\x06", "latin1");
  end.writeUInt16LE(entries.length, 8);
  end.writeUInt16LE(entries.length, 10);
  end.writeUInt32LE(directory.length, 12);
  end.writeUInt32LE(at, 16);
  return Buffer.concat([...locals, directory, end]);
}

const plain = (name, content) => ({ name, deflated: false, crc: crcOf(content), size: content.length, stored: content });

// `contents` are those of the listed entries, in order, as {name, deflated, content} or, with `stored` bytes of its own, as they are.
export function bundle(text, contents, keys, first = "manifest.json") {
  const manifest = bytesOf(text);
  const signatures = ascending(keys).map((key) => plain(`signatures/${key.id}.sig`, sign(key, manifest)));
  return zip([plain(first, manifest), ...signatures, ...contents.map(packed)]);
}

export function parcel(text, contents, keys) {
  return bundle(text, contents, keys, "parcel.json");
}

function packed({ name, deflated, content, stored }) {
  const bytes = stored ?? (deflated ? zlib.deflateRawSync(content) : content);
  return { name, deflated, crc: crcOf(content), size: content.length, stored: bytes };
}

// The rows of a manifest's `entries` for these contents.
export function listEntries(contents) {
  return contents.map((one) => {
    const { name, deflated, crc, size, stored } = packed(one);
    return {
      name, method: deflated ? "deflated" : "stored", stored_size: stored.length, stored_digest: sha256Hex(stored), size,
      crc32: "0x" + crc.toString(16).padStart(8, "0"), digest: sha256Hex(one.content),
    };
  });
}

// A sound bundle taken apart: {manifest, contents}.
export function takeApart(file) {
  const bytes = Buffer.from(file);
  const entries = [];
  for (let at = 0; bytes.readUInt32LE(at) === 0x04034b50;) {
    const deflated = bytes.readUInt16LE(at + 8) === 8;
    const storedSize = bytes.readUInt32LE(at + 18);
    const nameEnd = at + 30 + bytes.readUInt16LE(at + 26);
    const stored = bytes.subarray(nameEnd, nameEnd + storedSize);
    const content = deflated ? zlib.inflateRawSync(stored) : stored;
    entries.push({ name: bytes.toString("latin1", at + 30, nameEnd), deflated, content });
    at = nameEnd + storedSize;
  }
  const manifest = JSON.parse(entries[0].content.toString());
  return { manifest, contents: entries.filter(({ name }) => name !== "manifest.json" && !name.startsWith("signatures/")) };
}
