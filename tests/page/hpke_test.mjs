// Closed parcels: the key schedule against published vectors, and that nothing but the whole file opens.
import assert from "node:assert/strict";
import { test } from "node:test";

import "./platform.mjs";
import { concatBytes, fromHex, toHex } from "../../src/page/bytes.js";
import {
  agreementPair, closeParcel, isClosedParcel, isSmallAgreementKey, keySchedule, openParcel, setupReceiver, setupSender,
} from "../../src/page/hpke.js";
import { readVectors } from "./support.mjs";

const refused = (code) => (fault) => fault.code === code;
const MIB = 2 ** 20;

test("both sides give what the published vectors say", async () => {
  const { rows } = readVectors("hpke");
  assert.ok(rows.length >= 1);
  for (const row of rows) {
    assert.deepEqual([row.mode, row.kem_id, row.kdf_id, row.aead_id], [0, 32, 1, 2]);
    const info = fromHex(row.info);
    const recipient = await agreementPair(fromHex(row.skRm));
    assert.equal(toHex(recipient.publicKey), row.pkRm);
    const sender = await setupSender(recipient.publicKey, info, await agreementPair(fromHex(row.skEm)));
    const receiver = await setupReceiver(fromHex(row.enc), recipient, info);
    assert.equal(toHex(sender.enc), row.enc);
    assert.equal(toHex(sender.shared), row.shared_secret);
    assert.equal(toHex(receiver.shared), row.shared_secret);
    const { key, nonce, context, secret } = await keySchedule(sender.shared, info);
    assert.deepEqual([key, nonce, context, secret].map(toHex), [row.key, row.base_nonce, row.key_schedule_context, row.secret]);
    assert.ok(row.encryptions.length >= 2, "the counter is tried too");
    for (const { aad, plaintext, ciphertext } of row.encryptions) {
      assert.equal(toHex(await sender.context.seal(fromHex(aad), fromHex(plaintext))), ciphertext);
      assert.equal(toHex(await receiver.context.open(fromHex(aad), fromHex(ciphertext))), plaintext);
    }
  }
});

async function closed(size) {
  const pair = await agreementPair(new Uint8Array(32).fill(7));
  const plain = Uint8Array.from({ length: size }, (_, i) => (i * 7 + (i >> 8)) & 0xff);
  const bytes = await closeParcel(plain, toHex(pair.publicKey), await agreementPair(new Uint8Array(32).fill(9)));
  return { pair, plain, bytes };
}

test("what is closed opens again, at every edge of a piece", async () => {
  for (const size of [1, 98, MIB - 1, MIB, MIB + 1, 2 * MIB, 2 * MIB + 5]) {
    const { pair, plain, bytes } = await closed(size);
    assert.ok(isClosedParcel(bytes));
    assert.equal(bytes.length, 49 + size + 16 * Math.ceil(size / MIB));
    assert.deepEqual(await openParcel(bytes, pair, "p"), plain);
  }
});

test("closing twice gives other bytes", async () => {
  const pair = await agreementPair();
  const [one, two] = [await closeParcel(Uint8Array.of(1), toHex(pair.publicKey)), await closeParcel(Uint8Array.of(1), toHex(pair.publicKey))];
  assert.notDeepEqual(one, two);
});

test("no bit may be turned, no byte added or taken away", async () => {
  const { pair, bytes } = await closed(40);
  for (let bit = 8 * 17; bit < 8 * bytes.length; ++bit) {
    const bent = bytes.slice();
    bent[bit >> 3] ^= 1 << (bit & 7);
    await assert.rejects(openParcel(bent, pair, "p"), refused("parcel-closed"), `bit ${bit}`);
  }
  for (let size = 17; size < bytes.length; ++size) await assert.rejects(openParcel(bytes.subarray(0, size), pair, "p"), refused("parcel-closed"));
  await assert.rejects(openParcel(concatBytes([bytes, [0]]), pair, "p"), refused("parcel-closed"));
});

test("pieces cannot be left out, exchanged, repeated or ended early", async () => {
  const { pair, bytes } = await closed(3 * MIB);
  const piece = (i) => bytes.subarray(49 + i * (MIB + 16), 49 + (i + 1) * (MIB + 16));
  const head = bytes.subarray(0, 49);
  for (const order of [[0, 1], [0], [1, 0, 2], [0, 0, 1, 2], [1, 2], [2], [0, 1, 2, 2]]) {
    await assert.rejects(openParcel(concatBytes([head, ...order.map(piece)]), pair, "p"), refused("parcel-closed"), order.join());
  }
  assert.equal((await openParcel(concatBytes([head, piece(0), piece(1), piece(2)]), pair, "p")).length, 3 * MIB);
});

test("an empty piece is none, even when it was sealed", async () => {
  const { pair } = await closed(1);
  const { enc, context } = await setupSender(pair.publicKey, new TextEncoder().encode("calseal parcel/1"), await agreementPair());
  const piece = await context.seal(Uint8Array.of(1), new Uint8Array());
  await assert.rejects(openParcel(concatBytes([new TextEncoder().encode("calseal-parcel/1\n"), enc, piece]), pair, "p"), refused("parcel-closed"));
});

test("another key, or none, opens nothing", async () => {
  const { bytes } = await closed(40);
  await assert.rejects(openParcel(bytes, await agreementPair(), "p"), refused("parcel-closed"));
  await assert.rejects(openParcel(bytes, null, "p"), refused("parcel-closed"));
});

test("keys with which every private key agrees on zero are known, with and without the top bit", async () => {
  const p = 2n ** 255n - 19n;
  const eighth = [
    "e0eb7a7c3b41b8ae1656e3faf19fc46ada098deb9c32b1fd866205165f49b800",
    "5f9c95bca3508c24b1d0b1559c83ef5b04445cc4581c8e86d8224eddd09f1157",
  ];
  const little = (u) => toHex(fromHex(u.toString(16).padStart(64, "0")).reverse());
  const { bytes, pair } = await closed(1);
  for (const key of [...[0n, 1n, p - 1n, p, p + 1n].map(little), ...eighth]) {
    for (const top of [0, 0x80]) {
      const raw = fromHex(key);
      raw[31] |= top;
      assert.ok(isSmallAgreementKey(toHex(raw)), toHex(raw));
      await assert.rejects(closeParcel(Uint8Array.of(1), toHex(raw)), toHex(raw)); // the platform, or we, refuse an agreement on zero
      const bent = bytes.slice();
      bent.set(raw, 17);
      await assert.rejects(openParcel(bent, pair, "p"), refused("parcel-closed"));
    }
  }
  for (const u of [2n, 9n, p - 2n]) assert.ok(!isSmallAgreementKey(little(u)));
});
