// Approvals: the shop stands by a change of its rules. docs/bundle-format.md, "Approval". An approval is {from, to, claimed_time, text,
// signers, fault}: `fault` is why it does not count, null where it does.

// The approvals that lead from one region map to another, as few as there are; none ([]) for a map and itself, null where none lead.
export function approvalsLead(approvals, from, to) {
  const ways = new Map([[from, []]]); // by digest of a map: how it is reached; maps come in the order of their distance
  for (const [map, way] of ways) {
    if (map === to) return way;
    for (const one of approvals) {
      if (one.fault === null && one.from === map && !ways.has(one.to)) ways.set(one.to, [...way, one]);
    }
  }
  return null;
}

// For a refusal that approvals might have spared: why they did not.
export function faultsOfApprovals(approvals) {
  const faults = approvals.flatMap(({ fault }, i) => (fault === null ? [] : [`approval ${i + 1} does not count: ${fault}`]));
  return faults.map((text) => `; ${text}`).join("");
}
