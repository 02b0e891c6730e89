// Signed statements: one line of canonical JSON, then one line per signature.

import { fromHex, grouped, latin1, printable } from "./bytes.js";
import { SIGNATURES_MOST } from "./prefix.js";
import { Refusal } from "./reason.js";
import { checkKind } from "./schema.js";

const SIGNATURE_LINE_SIZE = 64 + 1 + 128 + 1; // key id, space, signature, LF
const SIGNATURE_LINE = /^([0-9a-f]{64}) ([0-9a-f]{128})\n$/;

export function checkFileSize(bytes, most, name) {
  if (bytes.length <= most) return;
  throw new Refusal("file-too-large", {
    file: name,
    found: `${grouped(bytes.length)} bytes`,
    expected: `at most ${grouped(most)} bytes`,
    next: "check that this is the right file",
  });
}

// Gives {text, signatures: [{keyId, signature}]}; `text` is the signed bytes. `code` stands for damage to the lines.
export function readStatement(bytes, kind, most, code, name) {
  checkFileSize(bytes, most, name);
  checkKind(bytes, kind, name);
  const refuse = (line, found, expected) => {
    throw new Refusal(code, { file: name, place: `line ${line}`, found, expected, next: "get the file again, unchanged" });
  };
  const end = bytes.indexOf(0x0a);
  if (end < 0) refuse(1, "no line end", "one line of JSON, then the signatures");
  if (end + 1 === bytes.length) refuse(2, "the end of the file", "a signature");
  const signatures = [];
  for (let at = end + 1; at < bytes.length; at += SIGNATURE_LINE_SIZE) {
    const line = signatures.length + 2;
    if (signatures.length === SIGNATURES_MOST) refuse(line, "one more line", `at most ${SIGNATURES_MOST} signatures`);
    const text = latin1(bytes.subarray(at, at + SIGNATURE_LINE_SIZE));
    const [, keyId, signature] = SIGNATURE_LINE.exec(text) ?? [];
    if (keyId === undefined) {
      refuse(line, `"${printable(text, 60)}"`, "a key id of 64 and a signature of 128 lower-case hexadecimal digits");
    }
    if (signatures.length > 0 && keyId <= signatures.at(-1).keyId) refuse(line, keyId, "a larger key id than before");
    signatures.push({ keyId, signature: fromHex(signature) });
  }
  return { text: bytes.subarray(0, end), signatures };
}
