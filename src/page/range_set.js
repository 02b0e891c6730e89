// Addresses as sorted, disjoint, non-empty ranges that are merged where they touch.

export class RangeSet {
  constructor(ranges = []) {
    this.ranges = [];
    for (const range of ranges) this.add(range);
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
    for (const range of other.ranges) this.add(range);
  }

  removeAll(other) {
    for (const range of other.ranges) this.remove(range);
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
      part.add({ begin: Math.max(begin, this.ranges[i].begin), end: Math.min(end, this.ranges[i].end) });
    }
    return part;
  }

  intersect(other) {
    const both = new RangeSet();
    for (const range of other.ranges) both.addAll(this.within(range));
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
