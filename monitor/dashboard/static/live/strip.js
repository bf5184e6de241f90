// The hidden paper of live curves: its right end joins its left one, so each sample is drawn once and never moved.

const GUARD = 48; // clean strip ahead of the pen
const BAND = 0.18; // how pale a band of uncertainty is

export const BREAK_S = 0.25; // a longer pause between samples is a gap in the line

export class Strip {
  /** @param ground draws paper and grid with a pen, from a column on, so many columns wide */
  constructor(ground) {
    this.ground = ground;
    this.canvas = document.createElement("canvas");
    this.ink = this.canvas.getContext("2d", { alpha: false }); // an opaque strip is copied, not blended
    this.origin_s = 0;
    this.perS = 1;
  }

  /** @param width,height of the plot in pixels  @param span_s that it shows */
  fit(width, height, span_s) {
    this.perS = width / span_s;
    this.canvas.width = width + 2 * GUARD;
    this.canvas.height = height;
  }

  begin(origin_s) {
    this.ground(this.ink, 0, this.canvas.width);
    this.origin_s = origin_s;
  }

  /** Pixels from the strip's origin, growing without end; the strip holds them modulo its width. */
  x(t_s) {
    return (t_s - this.origin_s) * this.perS;
  }

  /** Clean the strip ahead of samples that come between two places. */
  wipe(from_px, to_px) {
    const width = this.canvas.width;
    const start = Math.floor(from_px + GUARD);
    let left = Math.ceil(to_px + GUARD) - start;
    let at = start % width;
    while (left > 0) {
      const piece = Math.min(left, width - at);
      this.ground(this.ink, at, piece);
      left -= piece;
      at = 0;
    }
  }

  /**
   * Draw samples of some series, bands first.
   * @param series list of {column, uColumn, dash, colour}  @param y from a value to pixels  @param unit thickness of a hair
   */
  stroke(samples, series, first, end, y, unit, thick) {
    if (end - first < 2) return;
    const { ink } = this;
    const width = this.canvas.width;
    const base = Math.floor(this.x(samples.time(first)) / width) * width;
    const bases = this.x(samples.time(end - 1)) - base >= width - 4 ? [base, base + width] : [base];
    for (const one of series) {
      if (one.uColumn === undefined) continue;
      ink.fillStyle = one.colour;
      ink.globalAlpha = BAND;
      for (const from of bases) this.band(samples, one, first, end, y, from);
      ink.globalAlpha = 1;
    }
    ink.lineJoin = "round";
    ink.lineCap = "butt";
    ink.lineWidth = thick;
    for (const one of series) {
      ink.strokeStyle = one.colour;
      ink.beginPath();
      for (const from of bases) this.trace(samples, one, first, end, y, from, unit);
      ink.stroke();
    }
  }

  band(samples, { column, uColumn }, first, end, y, base) {
    const { ink } = this;
    for (let k = first + 1; k < end; k++) {
      const [a, b] = [samples.value(column, k - 1), samples.value(column, k)];
      const [ua, ub] = [samples.value(uColumn, k - 1), samples.value(uColumn, k)];
      const [xa, xb] = [this.x(samples.time(k - 1)) - base, this.x(samples.time(k)) - base];
      if (!(ua > 0 && ub > 0) || a !== a || b !== b || samples.time(k) - samples.time(k - 1) > BREAK_S) continue;
      ink.beginPath();
      ink.moveTo(xa, y(a + ua));
      ink.lineTo(xb, y(b + ub));
      ink.lineTo(xb, y(b - ub));
      ink.lineTo(xa, y(a - ua));
      ink.fill();
    }
  }

  trace(samples, { column, dash }, first, end, y, base, unit) {
    const { ink } = this;
    const period = dash ? dash.reduce((sum, part) => sum + part, 0) * unit : 0;
    let down = false;
    let before_s = -Infinity;
    for (let k = first; k < end; k++) {
      const t_s = samples.time(k);
      const value = samples.value(column, k);
      const x = this.x(t_s);
      if (value !== value || t_s - before_s > BREAK_S) down = false;
      before_s = t_s;
      if (value !== value) continue;
      if (down && (!dash || inked(x % period, dash, unit))) ink.lineTo(x - base, y(value));
      else ink.moveTo(x - base, y(value));
      down = true;
    }
  }

  /** Copy the last `plotW` columns before an instant to a pen, down to a height, in one or two pieces. */
  copy(pen, now_s, left, plotW, height) {
    const width = this.canvas.width;
    const begin = Math.round(this.x(now_s)) - plotW;
    let at = ((begin % width) + width) % width;
    let done = 0;
    while (done < plotW) {
      const piece = Math.min(plotW - done, width - at);
      pen.drawImage(this.canvas, at, 0, piece, height, left + done, 0, piece, height);
      done += piece;
      at = 0;
    }
  }
}

function inked(along, dash, unit) {
  let rest = along;
  for (let i = 0; i < dash.length; i++) {
    rest -= dash[i] * unit;
    if (rest < 0) return i % 2 === 0;
  }
  return true;
}
