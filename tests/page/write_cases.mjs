// Cases for a browser: as many damaged situations as asked for, drawn from a seed, each with what calseal-check answers. One
// line of JSON for each; bytes are base64.
//   node write_cases.mjs COUNT > cases.jsonl
import { askCheckerAlone } from "./both.mjs";
import { copyOf, damage, poolOf } from "./damages.mjs";
import { allSituations } from "./scenarios.mjs";
import { seededRandom } from "./support.mjs";

const situations = allSituations();
const pool = poolOf(situations);
const random = seededRandom("browser");
console.error(`CALSEAL_SEED=${random.seed}`);

function write(situation, how) {
  const { request, answer } = askCheckerAlone(situation);
  const text = JSON.stringify({ name: `${situation.name}; ${how}`, request, answer }, (key, value) => (key === "bytes" ? Buffer.from(Object.values(value)).toString("base64") : value));
  process.stdout.write(`${text}\n`);
}

for (const situation of situations) write(situation, "sound");
for (let i = 0; i < Number(process.argv[2]); ++i) {
  const situation = copyOf(random.pick(situations));
  write(situation, damage(random, situation, pool));
}
