// Step rules: whether the region map allows more than the one that is known. docs/order.md, "Rules".

import { approvalsLead, faultsOfApprovals } from "./approvals.js";
import { printable, utf8 } from "./bytes.js";
import { isWayBackAccepted, knownJobs, knownMap } from "./known.js";
import { widening, wideningText } from "./map_diff.js";
import { Refusal } from "./reason.js";
import { readRegionMap } from "./region_map.js";
import { findMap } from "./state.js";

// The known map; null where the state has not kept it, or somebody has put another text in its place.
function keptMap(state, digest) {
  const text = findMap(state, digest);
  if (text === undefined) return null;
  try {
    return readRegionMap(utf8(text), "the state");
  } catch (fault) {
    if (fault instanceof Refusal) return null;
    throw fault;
  }
}

function mapText({ name, version }) {
  return `region map ${name} version ${version}`;
}

// What is allowed now and was not before, in plain words; "" where nothing is.
function wordsOf(before, map) {
  if (before === null) return "whether the shop's rules allow more cannot be told: the state has not kept the known ones";
  const widened = widening(before, map);
  return widened === null ? "" : wideningText(widened);
}

function approvedText({ signers, claimed_time: time, text }) {
  return `approved by ${signers.map((name) => printable(name, 60)).join(", ")} at ${time} (claimed): ${printable(text)}`;
}

export function judgeRules({ name, manifest, digest, map, approvals, cautions }, order) {
  const [controller] = manifest.controllers;
  const jobs = knownJobs(order, manifest.job, controller.name);
  const known = knownMap(jobs, order.trust);
  const own = controller.region_map.digest;
  if (isWayBackAccepted(jobs, digest) || known === "" || known === own) return;
  const before = keptMap(order.state, known);
  const words = wordsOf(before, map);
  const refusal = (code, found, expected, next) =>
    new Refusal(code, { file: name, place: mapText(map), found, expected, next });
  if (before !== null && before.name === map.name && before.version === map.version) {
    throw refusal("rules-changed", `${words || "the shop's rules are other ones, and allow nothing more"}; the name and version are those of the map accepted before`,
      "a new version for a region map that changes", "do not write it; ask the shop, which may have made a mistake or lost a key");
  }
  if (words === "") return;
  const way = approvalsLead(approvals, known, own);
  if (way === null) {
    throw refusal("rules-widened", `${words}${faultsOfApprovals(approvals)}`,
      before === null ? "the region map accepted before, or the shop's approval" : `what ${mapText(before)} allows, or the shop's approval`,
      "do not write it; ask the shop, by telephone or in person, whether it changed its rules, and for a bundle with its approval");
  }
  const detail = [words, ...way.map(approvedText)].join("; ");
  cautions.push({ code: "rules-widened", text: detail, parts: { detail } });
}
