// Situations out of the demo: real images of 4 MiB, sealed by the real program; taken apart so that they can be sealed anew.
import crypto from "node:crypto";
import { spawnSync } from "node:child_process";
import fs from "node:fs";
import path from "node:path";

import { keyFrom, statement, takeApart } from "./forge.mjs";
import { bundlePart, situation } from "./scenarios.mjs";
import { PROJECT } from "./support.mjs";

const PASSPHRASE = "a passphrase for the demo only";

export function demoSituations(folder) {
  const run = (program, ...options) => {
    const done = spawnSync(process.env[program], options, { cwd: folder, encoding: "utf8", env: { ...process.env, CALSEAL_PASSPHRASE: PASSPHRASE } });
    if (done.status !== 0) throw new Error(`${options.join(" ")}: ${done.stdout}${done.stderr}`);
  };
  const file = (name) => fs.readFileSync(path.join(folder, name));
  const regions = (controller) => ["--regions", path.join(PROJECT, "fixtures", "demo", `${controller}.regions.json`)];
  run("CALSEAL_DEMO_DATA", "data");
  fs.mkdirSync(path.join(folder, "keys"));
  run("CALSEAL", "shop", "new", "keys", "--name", "Demo Shop", "--claimed-time", "2020-01-01T00:00:00Z");
  const seal = (...options) => run("CALSEAL", "seal", ...options, "--key", "keys/author.key", "--trust", "keys/shop.trust");
  const vehicle = ["--job", "oak-17", "--vehicle", "blue estate"];
  seal(...vehicle, ...regions("engine"), "--base", "flash=data/engine-a-flash.bin", "--base", "eeprom=data/engine-a-eeprom.bin", "--new-salt", "job.salt", "-o", "r0");
  const again = ["--salt", "job.salt", "--correct"];
  seal("--base-bundle", "r0", "--image", "flash=data/engine-r1-flash.bin", ...again, "-o", "r1");
  seal("--base-bundle", "r0", "--parent", "r1", "--image", "flash=data/engine-r2-flash.bin", ...again, "-o", "r2");
  seal(...vehicle, ...regions("transmission"), "--base", "data/transmission-a.s19", "--salt", "job.salt", "-o", "t0");
  seal("--base-bundle", "t0", "--image", "data/transmission-r1.s19", ...again, "-o", "t1");

  const secret = (name) => keyFrom(crypto.createPrivateKey({ key: file(`keys/${name}.key`), passphrase: PASSPHRASE }));
  const author = secret("author");
  const root = secret("root");
  const raw = (bytes) => ({ bytes, text: null, seal: null });
  const trustText = file("keys/shop.trust");
  const trust = { bytes: trustText, text: trustText.subarray(0, trustText.indexOf(0x0a)), seal: (text) => statement(text, [root]) };
  const sealed = (name) => {
    const { manifest, contents } = takeApart(file(name));
    return { ...bundlePart(manifest, contents, [author]), bytes: file(name) };
  };
  const engine = (flash, eeprom = "engine-a-eeprom.bin") => [{ memory: "flash", ...raw(file(`data/${flash}`)) }, { memory: "eeprom", ...raw(file(`data/${eeprom}`)) }];
  const gearbox = (name) => [{ memory: "", ...raw(file(`data/${name}`)) }];
  const one = (name, bundleName, reads, flags = {}) => situation(name, { bundle: sealed(bundleName), trust, reads, salt: raw(file("job.salt")) }, { fresh: true, ...flags });
  return [
    one("demo, revision 1", "r1", engine("engine-a-flash.bin")),
    one("demo, revision 2 over revision 1", "r2", engine("engine-r1-corrected-flash.bin")),
    one("demo, revision 2 after weeks", "r2", engine("engine-a-later-flash.bin", "engine-a-later-eeprom.bin")),
    one("demo, the way back", "r0", engine("engine-r2-corrected-flash.bin")),
    one("demo, revive", "r0", [], { revive: true, vehicle: "blue estate" }),
    one("demo, transmission", "t1", gearbox("transmission-a.s19")),
    one("demo, transmission back", "t0", gearbox("transmission-r1-corrected.s19")),
    one("demo, another vehicle", "r1", engine("engine-b-flash.bin", "engine-b-eeprom.bin")),
    one("demo, after an update", "r1", engine("engine-a-updated-flash.bin")),
    ...["copy", "locked", "patch", "signed", "volatile"].map((what) => one(`demo, bad ${what}`, "r2", engine(`engine-bad-${what}-flash.bin`))),
  ];
}
