// Damage to a sound situation, drawn by chance: bytes anywhere in any file, files in one another's place, JSON that says
// something else and is well signed, contents that are sealed anew, evidence that is left out.
import { bundle, keyOf, listEntries, sha256Hex } from "./forge.mjs";

const STRANGER = keyOf(4);

// All files of a situation, with a way to put another in their place.
function slots({ files }) {
  const single = ["bundle", "trust", "salt", "state", "withdrawals", "jobList", "inclusion", "newest"];
  const found = single.filter((role) => files[role] !== null).map((role) => ({ role, file: files[role], put: (file) => void (files[role] = file) }));
  for (const role of ["reads", "successions", "partners"]) {
    files[role].forEach((file, i) => found.push({ role, file, put: (other) => void (files[role][i] = { ...files[role][i], ...other }) }));
  }
  return found;
}

function damageBytes(random, bytes) {
  const out = Buffer.from(bytes);
  const at = random.below(Math.max(1, out.length));
  const size = 1 + random.below(40);
  const cut = (from, to) => Buffer.concat([out.subarray(0, from), out.subarray(to)]);
  switch (random.below(out.length === 0 ? 1 : 9)) {
    case 0: return [Buffer.concat([out, Buffer.from(random.bytes(size))]), `${size} bytes appended`];
    case 1:
    case 2:
    case 3:
      out[at] ^= 1 << random.below(8);
      return [out, `a bit at ${at}`];
    case 4:
      out[at] = random.below(256);
      return [out, `a byte at ${at}`];
    case 5: return [out.subarray(0, at), `cut at ${at}`];
    case 6: return [cut(at, at + size), `${size} bytes out at ${at}`];
    case 7: return [Buffer.concat([out.subarray(0, at), out.subarray(at, at + size), out.subarray(at)]), `${size} bytes twice at ${at}`];
    default: {
      const other = random.below(out.length);
      const [low, high] = at < other ? [at, other] : [other, at];
      const length = Math.min(size, high - low, out.length - high);
      const swapped = Buffer.from(out);
      out.copy(swapped, low, high, high + length);
      out.copy(swapped, high, low, low + length);
      return [swapped, `${length} bytes at ${low} and ${high} swapped`];
    }
  }
}

// Every value of a tree, as where it hangs.
function places(value, found = []) {
  if (value === null || typeof value !== "object") return found;
  for (const key of Object.keys(value)) {
    found.push([value, key]);
    places(value[key], found);
  }
  return found;
}

const ODD_VALUES = [0, 1, 2, 8, 9, 255, 4096, 16384, 2 ** 32, 2 ** 40, 2 ** 40 + 1, 2 ** 53 - 1, "", "a", "A", "0x00000000", "0xffffffff", "0x80000010", "author", "reviewer", "draft", "verified", "2026-02-30T00:00:00Z", "2026-03-04T05:06:07Z", "1969-12-31T23:59:59Z", "9999-12-31T23:59:59Z", "0".repeat(64), "x".repeat(201), "é".repeat(100), "\u007f", "\u2028", "<", true, false, [], {}];

function changeText(random, text) {
  if (text === "") return "x";
  const at = random.below(text.length);
  const digit = "0123456789abcdefxyz-_ZT:\n"[random.below(25)];
  return text.slice(0, at) + digit + text.slice(at + random.below(2));
}

function damageTree(random, tree) {
  const [parent, key] = random.pick(places(tree));
  const value = parent[key];
  const where = Array.isArray(parent) ? `[${key}]` : key;
  switch (random.below(9)) {
    case 0:
      if (Array.isArray(parent)) parent.splice(Number(key), 1);
      else delete parent[key];
      return `${where} left out`;
    case 1:
      parent[key] = random.pick(ODD_VALUES);
      return `${where}: ${JSON.stringify(parent[key]).slice(0, 40)}`;
    case 2: {
      const [from, other] = random.pick(places(tree));
      parent[key] = structuredClone(from[other]);
      return `${where} as ${other}`;
    }
    case 3:
      if (Array.isArray(parent)) parent.splice(Number(key), 0, structuredClone(value));
      else parent[`${key}x`] = value;
      return `${where} twice, or another key`;
    case 4:
      if (Array.isArray(value)) value.reverse();
      else parent[key] = Array.isArray(parent) ? value : [value];
      return `${where} reversed, or a list`;
    default:
      if (typeof value === "number") parent[key] = Math.max(0, value + random.pick([-1, 1, 16, -16, 256]));
      else if (typeof value === "string") parent[key] = changeText(random, value);
      else if (typeof value === "boolean") parent[key] = !value;
      else if (Array.isArray(value) && value.length > 1) value.push(value.shift());
      else parent[key] = random.pick(ODD_VALUES);
      return `${where} changed`;
  }
}

const INSERTS = [" ", "\n", "\t", "\0", "\u00a0", "\ufeff", ",", ":", "{", "[", "]", "}", '"', "\\", "\\u0041", "\\ud800", "\\u0000", "\\/", "0", "-", ".5", "e3", "null", '"job":1,', "[".repeat(40), "//", "😀"];
const REPLACEMENTS = [
  [/:(\d+)/, ":-$1"], [/:(\d+)/, ":$1.0"], [/:(\d+)/, ":0$1"], [/:(\d+)/, ":$1e0"], [/:(\d+)/, ":-$1."], [/:(\d+)/, ":9007199254740992"], [/:(\d+)/, ":1" + "0".repeat(400)],
  [/:"/, ":null,\""], [/:""/, ":null"], [/"(\w)/, "\"\\u0061$1"], [/true|false/, "null"], [/,/, ", "], [/}$/, "} "], [/}$/, "}\0"], [/}$/, "}\0{}"], [/}$/, ",}"], [/^{/, "\ufeff{"],
  [/"(\w+)":/, "\"$1\":1,\"$1\":"], [/"([^"]+)"/g, (whole, text) => (text.length > 30 ? whole : `"${text}"`)],
];

// Another text of the same kind; the beginning that tells the kind mostly stays.
function damageText(random, text) {
  const keep = random.below(8) === 0 ? 0 : text.indexOf(",") + 1;
  const [head, tail] = [text.slice(0, keep), text.slice(keep)];
  if (random.below(2) === 0) {
    const from = random.below(Math.max(1, tail.length));
    const [pattern, by] = random.pick(REPLACEMENTS);
    return [head + tail.slice(0, from) + tail.slice(from).replace(pattern, by), `text ${pattern} at ${keep + from}`];
  }
  const at = random.below(tail.length + 1);
  const insert = random.pick(INSERTS);
  return [head + tail.slice(0, at) + insert + tail.slice(at + random.below(2)), `text ${JSON.stringify(insert)} at ${keep + at}`];
}

function resealed(random, file) {
  if (random.below(3) > 0) {
    const tree = JSON.parse(file.text.toString());
    let how = damageTree(random, tree);
    if (random.below(4) === 0) how += `; ${damageTree(random, tree)}`;
    return [{ ...file, bytes: file.seal(tree) }, how];
  }
  const [text, how] = damageText(random, file.text.toString());
  const bytes = Buffer.from(text);
  // A byte that is no UTF-8, now and then.
  if (random.below(20) === 0) bytes[random.below(bytes.length)] = 0x80 + random.below(128);
  return [{ ...file, bytes: file.seal(bytes) }, how];
}

// A JSON text of any kind that says something else, or is no JSON any more: bytes, and what was done.
export function bendText(random, text) {
  if (random.below(4) === 0) {
    const [bent, how] = damageText(random, text);
    return [Buffer.from(bent), how];
  }
  const tree = JSON.parse(text);
  const how = Array.from({ length: 1 + random.below(2) }, () => damageTree(random, tree));
  return [Buffer.from(JSON.stringify(tree)), how.join("; ")];
}

// The content of one entry is another, and the manifest says so.
function withOtherContent(random, file) {
  const { manifest, contents, keys } = file;
  const changed = contents.map((one) => ({ ...one }));
  const index = random.below(changed.length);
  const one = changed[index];
  let how;
  const isText = one.name.endsWith(".json");
  if (isText && random.below(3) > 0) {
    const tree = JSON.parse(one.content.toString());
    how = damageTree(random, tree);
    one.content = Buffer.from(JSON.stringify(tree) + (one.name.startsWith("regions/") ? "\n" : ""));
  } else if (isText && random.below(2) > 0) {
    const [text, damage] = damageText(random, one.content.toString());
    [one.content, how] = [Buffer.from(text), damage];
  } else {
    [one.content, how] = damageBytes(random, one.content);
  }
  // A deflate stream may be the damaged one too: of other size, with something behind it, or of another content.
  const whole = structuredClone({ ...manifest, entries: listEntries(changed.map(shrinkable)) });
  if (whole.controllers[0] && index === 0) whole.controllers[0].region_map.digest = sha256Hex(one.content);
  if (one.name === "set.json") whole.set = sha256Hex(one.content);
  return [{ ...file, bytes: bundle(whole, changed.map(shrinkable), keys) }, `${one.name} with ${how}`];
}

// What does not become smaller is stored.
function shrinkable(one) {
  const [row] = listEntries([one]);
  return one.deflated && row.stored_size >= row.size ? { ...one, deflated: false } : one;
}

// The stored bytes of a deflated entry are others, and the manifest binds them.
function withOtherStream(random, file) {
  const { manifest, contents, keys } = file;
  const index = contents.findIndex((one) => one.deflated);
  if (index < 0) return withOtherContent(random, file);
  const rows = listEntries(contents);
  const streams = contents.map((one) => ({ ...one }));
  const original = bundle(manifest, contents, keys);
  const at = original.indexOf(Buffer.from(rows[index].name)) + rows[index].name.length;
  const stream = original.subarray(at, at + rows[index].stored_size);
  const [stored, how] = damageBytes(random, stream);
  streams[index].stored = stored;
  rows[index].stored_size = stored.length;
  rows[index].stored_digest = sha256Hex(stored);
  if (random.below(3) === 0) rows[index].size += random.pick([-1, 1, 300]);
  return [{ ...file, bytes: bundle({ ...manifest, entries: rows }, streams, keys) }, `stream with ${how}`];
}

function signedOtherwise(random, file) {
  const keys = random.pick([[STRANGER], [...file.keys, STRANGER], [keyOf(3)], [...file.keys, keyOf(3)], [keyOf(1)], []]);
  return [{ ...file, bytes: bundle(file.manifest, file.contents, keys) }, `signed by ${keys.length} others`];
}

function leaveOut(random, { files, flags }) {
  switch (random.below(10)) {
    case 0: flags.fresh = false; return "not fresh";
    case 1: flags.vehicle = random.pick(["", "red van", "blue estate"]); return `vehicle "${flags.vehicle}"`;
    case 2: files.salt = null; return "no salt";
    case 3: flags.root = random.pick(["00000 ".repeat(10).trim(), "x", keyOf(1).id, keyOf(7).id, "1 2"]); return "another root";
    case 4: flags.sealOnly = true; return "only the seal";
    case 5: files.reads = []; flags.revive = true; return "revive";
    case 6: files.reads = files.reads.slice(1); return "a read less";
    case 7: flags.declaredReturn = !flags.declaredReturn; return "return the other way";
    case 8: files.partners = files.partners.slice(1); return "a partner less";
    default: files.successions.reverse(); files.inclusion = null; return "no proof";
  }
}

// One damage: the situation changed in place, and what was done in words.
export function damage(random, situation, pool) {
  const all = slots(situation);
  const slot = random.pick(random.below(3) === 0 ? all.filter(({ role }) => role === "bundle") : all);
  const { file, role, put } = slot;
  const apply = ([changed, how]) => {
    put(changed);
    return `${role}: ${how}`;
  };
  const isBundle = file.contents !== undefined;
  switch (random.below(10)) {
    case 0:
    case 1: {
      const [bytes, how] = damageBytes(random, file.bytes);
      return apply([{ ...file, bytes }, how]);
    }
    case 2: {
      const other = random.pick(random.below(2) === 0 ? pool : all.map((one) => one.file));
      return apply([{ ...file, bytes: other.bytes }, "another file"]);
    }
    case 3: return leaveOut(random, situation);
    case 4:
    case 5:
    case 6: if (isBundle) return apply(random.pick([withOtherContent, withOtherContent, withOtherStream, signedOtherwise])(random, file));
    // falls through
    default: {
      if (file.seal) return apply(resealed(random, file));
      const [bytes, how] = damageBytes(random, file.bytes);
      return apply([{ ...file, bytes }, how]);
    }
  }
}

// A situation of its own, so that damage to it leaves the sound one alone.
export function copyOf({ name, files, flags }) {
  return { name, files: { ...files, reads: [...files.reads], successions: [...files.successions], partners: [...files.partners] }, flags: { ...flags } };
}

export function poolOf(situations) {
  return situations.flatMap((situation) => slots(situation).map(({ file }) => file));
}
