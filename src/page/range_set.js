// Addresses as sorted, disjoint, non-empty ranges that are merged where they touch.

export class RangeSet {
  // Ranges in any order, which may overlap.
  constructor(ranges = []) {
    this.ranges = [];
    this.append([...ranges].sort((a, b) => a.begin - b.begin));
  }

  // Ranges of which none begins before another, or before those that are there.
  append(ranges) {
    for (const { begin, end } of ranges) {
      const last = this.ranges.at(-1);
      if (begin >= end) continue;
      if (last === undefined || last.end < begin) this.ranges.push({ begin, end });
      else last.end = Math.max(last.end, end);
    }
  }

  // Index of the first range that ends behind `at`.
  firstBehind(at) {
    let low = 0;
    let high = this.ranges.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (this.ranges[middle].end > at) high = middle;
      else low = middle + 1;
    }
    return low;
  }

  add({ begin, end }) {
    if (begin >= end) return;
    // A range that ends right where this one begins is merged too.
    const from = this.firstBehind(begin - 1);
    let to = from;
    while (to < this.ranges.length && this.ranges[to].begin <= end) {
      begin = Math.min(begin, this.ranges[to].begin);
      end = Math.max(end, this.ranges[to].end);
      ++to;
    }
    this.ranges.splice(from, to - from, { begin, end });
  }

  remove({ begin, end }) {
    if (begin >= end) return;
    const from = this.firstBehind(begin);
    const left = [];
    let to = from;
    for (; to < this.ranges.length && this.ranges[to].begin < end; ++to) {
      const range = this.ranges[to];
      if (range.begin < begin) left.push({ begin: range.begin, end: begin });
      if (range.end > end) left.push({ begin: end, end: range.end });
    }
    this.ranges.splice(from, to - from, ...left);
  }

  addAll(other) {
    this.ranges = new RangeSet([...this.ranges, ...other.ranges]).ranges;
  }

  removeAll(other) {
    const kept = [];
    let from = 0;
    for (let { begin, end } of this.ranges) {
      while (from < other.ranges.length && other.ranges[from].end <= begin) ++from;
      for (let i = from; i < other.ranges.length && other.ranges[i].begin < end; ++i) {
        if (begin < other.ranges[i].begin) kept.push({ begin, end: other.ranges[i].begin });
        begin = Math.min(other.ranges[i].end, end);
      }
      if (begin < end) kept.push({ begin, end });
    }
    this.ranges = kept;
  }

  has(at) {
    const range = this.ranges[this.firstBehind(at)];
    return range !== undefined && range.begin <= at;
  }

  // Whether every address of `range` is in the set.
  contains({ begin, end }) {
    if (begin >= end) return true;
    const range = this.ranges[this.firstBehind(begin)];
    return range !== undefined && range.begin <= begin && range.end >= end;
  }

  overlaps({ begin, end }) {
    const range = this.ranges[this.firstBehind(begin)];
    return range !== undefined && range.begin < end && begin < end;
  }

  // The part of this set inside `range`.
  within({ begin, end }) {
    const part = new RangeSet();
    for (let i = this.firstBehind(begin); i < this.ranges.length && this.ranges[i].begin < end; ++i) {
      part.append([{ begin: Math.max(begin, this.ranges[i].begin), end: Math.min(end, this.ranges[i].end) }]);
    }
    return part;
  }

  intersect(other) {
    const both = new RangeSet();
    for (const range of other.ranges) both.append(this.within(range).ranges);
    return both;
  }

  copy() {
    const twin = new RangeSet();
    twin.ranges = this.ranges.map((range) => ({ ...range }));
    return twin;
  }

  get size() {
    return this.ranges.reduce((sum, range) => sum + range.end - range.begin, 0);
  }

  get empty() {
    return this.ranges.length === 0;
  }

  equals(other) {
    return (
      this.ranges.length === other.ranges.length &&
      this.ranges.every((range, i) => range.begin === other.ranges[i].begin && range.end === other.ranges[i].end)
    );
  }
}
