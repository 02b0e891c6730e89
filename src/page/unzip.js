// The files of a ZIP download, so that a customer need not unpack it. Nothing in it is believed: each file is judged as if it had been
// chosen by itself.

import { bytesText, decodeUtf8, grouped, latin1, readLittle } from "./bytes.js";
import { inflate } from "./entries.js";
import { Refusal } from "./reason.js";

const FILES_MOST = 100;
const BYTES_MOST = 2 ** 28;  // all files together
const END_SIZE = 22;
const CENTRAL_SIZE = 46;
const LOCAL_SIZE = 30;

function unreadable(file, found, expected) {
  return new Refusal("file-unreadable", { file, found, expected, next: "unpack the file yourself, and choose what is in it" });
}

// Where the end of the directory stands, a comment behind it or not; -1 where there is none.
function endOf(bytes) {
  for (let at = bytes.length - END_SIZE; at >= Math.max(0, bytes.length - END_SIZE - 65535); --at) {
    if (latin1(bytes.subarray(at, at + 4)) === "PK\u0005\u0006") return at;
  }
  return -1;
}

function directoryOf(bytes, file) {
  const end = endOf(bytes);
  if (end === -1) throw unreadable(file, "no end of its directory", "a whole ZIP file");
  const count = readLittle(bytes, end + 10, 2);
  if (count > FILES_MOST) throw unreadable(file, `${grouped(count)} files`, `at most ${FILES_MOST}`);
  const entries = [];
  let at = readLittle(bytes, end + 16, 4);
  for (let i = 0; i < count; ++i) {
    if (at + CENTRAL_SIZE > end || latin1(bytes.subarray(at, at + 4)) !== "PK\u0001\u0002") throw unreadable(file, `a broken directory at entry ${i}`, "a whole ZIP file");
    const [flags, method] = [readLittle(bytes, at + 8, 2), readLittle(bytes, at + 10, 2)];
    const [stored, size] = [readLittle(bytes, at + 20, 4), readLittle(bytes, at + 24, 4)];
    const [nameSize, extra, comment] = [28, 30, 32].map((offset) => readLittle(bytes, at + offset, 2));
    const name = bytes.subarray(at + CENTRAL_SIZE, at + CENTRAL_SIZE + nameSize);
    entries.push({ name: decodeUtf8(name) ?? latin1(name), flags, method, stored, size, local: readLittle(bytes, at + 42, 4) });
    at += CENTRAL_SIZE + nameSize + extra + comment;
  }
  return entries;
}

async function contentOf(bytes, { flags, method, stored, size, local }, file) {
  if (flags & 1) throw unreadable(file, "files under a password", "files that can be read");
  const begin = local + LOCAL_SIZE + readLittle(bytes, local + 26, 2) + readLittle(bytes, local + 28, 2);
  if (!(begin + stored <= bytes.length)) throw unreadable(file, "a file that reaches past the end", "a whole ZIP file");
  const content = bytes.slice(begin, begin + stored);
  const found = method === 0 && stored === size ? content : method === 8 ? await inflate(content, size) : null;
  if (found === null) throw unreadable(file, `a file in it that cannot be unpacked (method ${method})`, "stored or deflated files, whole");
  return found;
}

// The files in it, without folders and what systems put beside them; `Refusal` where it cannot be read.
export async function unzip({ name: file, bytes }) {
  const entries = directoryOf(bytes, file).filter(({ name }) => !name.endsWith("/") && !/(^|\/)(__MACOSX\/|\.|Thumbs\.db$)/.test(name));
  const all = entries.reduce((sum, { size }) => sum + size, 0);
  if (all > BYTES_MOST) throw unreadable(file, bytesText(all), `at most ${bytesText(BYTES_MOST)} in all its files`);
  const files = [];
  for (const entry of entries) files.push({ name: entry.name.split("/").at(-1), bytes: await contentOf(bytes, entry, file) });
  return files;
}
