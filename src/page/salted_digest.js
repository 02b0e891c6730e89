// The salted digest of a binding field: HMAC-SHA-256 (RFC 2104) with the salt as key over
// "<controller> <memory> 0x%08x <decimal size>\n" and the field's bytes.

import { addressText, concatBytes, utf8 } from "./bytes.js";
import { hmacSha256 } from "./digest.js";
import { viewAt } from "./image.js";
import { sizeOf } from "./place.js";

// Of the bytes that the field has, or may have.
export function saltedDigestOf(salt, map, field, bytes) {
  const { begin } = field.range;
  const head = `${map.controller} ${map.memories[field.memory].name} ${addressText(begin)} ${sizeOf(field.range)}\n`;
  return hmacSha256(salt, concatBytes([utf8(head), bytes]));
}

export function saltedDigest(salt, map, field, image) {
  return saltedDigestOf(salt, map, field, viewAt(image, field));
}
