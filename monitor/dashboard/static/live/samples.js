// The last seconds of all curves, in rings of plain numbers: no garbage at 20 updates a second.

export class Samples {
  /** @param {string[]} names columns  @param {number} capacity samples kept */
  constructor(names, capacity) {
    this.names = names;
    this.capacity = capacity;
    this.t = new Float64Array(capacity);
    this.columns = names.map(() => new Float32Array(capacity));
    this.end = 0; // running number of the sample after the last
    this.start = 0; // of the oldest kept
  }

  /** Add one sample; values in the order of the names, NaN for no reading. */
  add(t_s, values) {
    const i = this.end % this.capacity;
    this.t[i] = t_s;
    for (let c = 0; c < this.columns.length; c++) this.columns[c][i] = values[c];
    this.end++;
    if (this.end - this.start > this.capacity) this.start = this.end - this.capacity;
  }

  time(k) {
    return this.t[k % this.capacity];
  }

  value(column, k) {
    return this.columns[column][k % this.capacity];
  }

  get newest_s() {
    return this.end > this.start ? this.time(this.end - 1) : null;
  }

  /** Running number of the first sample at or after a time. */
  from(t_s) {
    let low = this.start;
    let high = this.end;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (this.time(middle) < t_s) low = middle + 1;
      else high = middle;
    }
    return low;
  }

  /** Running number of the sample nearest to a time, null when none is nearer than `within_s`. */
  nearest(t_s, within_s) {
    if (this.end === this.start) return null;
    let k = Math.min(this.from(t_s), this.end - 1);
    if (k > this.start && t_s - this.time(k - 1) < this.time(k) - t_s) k--;
    return Math.abs(this.time(k) - t_s) <= within_s ? k : null;
  }
}
