// Live load curves like a strip of notebook paper that moves to the left.
//
// A slow board must bear this 20 times a second: each new sample is drawn once, on a hidden strip whose right end joins
// its left one; an update copies the strip in two pieces and adds a handful of words. Only a change of scale, size,
// colours or choice draws all again.

import { Samples } from "./samples.js";
import { partName, words } from "./words.js";

const SPAN_S = 30;
const CAPACITY = 30_500; // 30 s at the fastest rig
const BREAK_S = 0.25; // a longer pause between samples is a gap in the line
const LEAST_TOP_N = 200; // noise of an empty rig must not fill the paper
const GUARD = 48; // clean strip ahead of the pen
const STEPS = [10, 20, 50, 100, 200, 250, 500, 1000, 2000];
const DASHES = [null, [7, 5], [2, 4], [10, 4, 2, 4]];

export class Curves {
  constructor(canvas) {
    this.canvas = canvas;
    this.pen = canvas.getContext("2d", { alpha: false });
    this.strip = document.createElement("canvas");
    this.ink = this.strip.getContext("2d");
    this.samples = null;
    this.cells = false;
    this.stopped_s = null;
    this.readAgo_s = null;
    this.edges = [];
    this.reference_N = null;
    this.top_N = LEAST_TOP_N;
    this.step = LEAST_TOP_N / 4;
    this.drawn = 0;
    new ResizeObserver(() => this.fit()).observe(canvas);
    this.fit();
  }

  /** @param channels the rig's channels: name and part */
  setRig(channels) {
    this.channels = channels;
  }

  /** Take a piece of curve from the feed. */
  push(piece) {
    if (this.samples === null || piece.restart || String(piece.names) !== String(this.samples.names.slice(0, -2))) this.begin(piece.names);
    const count = piece.names.length;
    const row = new Array(count + 2);
    for (let i = 0; i < piece.t_s.length; i++) {
      let hands = 0;
      let feet = 0;
      for (let c = 0; c < count; c++) {
        const value = piece.load_N[c][i] ?? NaN;
        row[c] = value;
        if (this.parts[c] === "bar") hands += value;
        else feet += value;
      }
      row[count] = hands;
      row[count + 1] = feet;
      this.samples.add(piece.t_s[i], row);
    }
  }

  begin(names) {
    const part = (name) => this.channels?.find((channel) => channel.name === name)?.part ?? (name.startsWith("bar") ? "bar" : "platform");
    this.parts = names.map(part);
    this.samples = new Samples([...names, words.hands, words.feet], CAPACITY);
    this.edges = [];
    this.stopped_s = null;
    this.choose();
  }

  showCells(cells) {
    this.cells = cells;
    if (this.samples) this.choose();
  }

  choose() {
    const cellCount = this.parts.length;
    const seen = { bar: 0, platform: 0 };
    const cells = this.parts.map((part, column) => {
      const dash = DASHES[seen[part]++ % DASHES.length];
      return { column, part, dash, label: partName(this.samples.names[column]) };
    });
    const sums = [{ column: cellCount, part: "bar", dash: null, label: words.hands }];
    if (seen.platform > 0) sums.push({ column: cellCount + 1, part: "platform", dash: null, label: words.feet });
    this.series = this.cells ? cells : sums;
    this.redraw = true;
  }

  /** Note an edge of a hold: a fine vertical at its time. */
  markEdge(t_s) {
    if (this.edges.some((edge) => Math.abs(edge - t_s) < 0.3)) return;
    this.edges.push(t_s);
    if (this.edges.length > 40) this.edges.shift();
  }

  stop(stopped) {
    this.stopped_s = stopped ? (this.samples?.newest_s ?? null) : null;
    if (!stopped) this.redraw = true;
  }

  fit() {
    const { width, height } = this.canvas.getBoundingClientRect();
    if (width === 0 || height === 0) return;
    this.dpr = Math.min(3, window.devicePixelRatio || 1);
    this.canvas.width = Math.round(width * this.dpr);
    this.canvas.height = Math.round(height * this.dpr);
    this.restyle();
  }

  /** Read colours and sizes anew, after a change of size or light. */
  restyle() {
    const style = getComputedStyle(this.canvas);
    const colour = (name) => style.getPropertyValue(name).trim();
    this.colours = {
      paper: colour("--paper"), ink: colour("--ink"), quiet: colour("--quiet"), hair: colour("--hair"),
      bar: colour("--hands"), platform: colour("--feet"),
    };
    this.font_px = parseFloat(style.fontSize) * this.dpr;
    this.unit = Math.max(this.dpr, this.font_px / 15); // lines grow with the letters
    this.font = `${this.font_px}px ${style.fontFamily}`;
    this.pen.font = this.font;
    const wide = (text) => this.pen.measureText(text).width;
    this.left = Math.ceil(wide("0000") + this.font_px * 0.6);
    this.right = Math.ceil(Math.max(...[words.bodyweight, words.partNames.foot_fr, words.partNames.bar_right].map(wide)) + this.font_px * 1.3);
    this.upper = Math.ceil(this.font_px * 1.5);
    this.lower = Math.ceil(this.font_px * 1.7);
    this.plotW = Math.max(10, this.canvas.width - this.left - this.right);
    this.plotH = Math.max(10, this.canvas.height - this.upper - this.lower);
    this.perS = this.plotW / SPAN_S;
    this.strip.width = this.plotW + 2 * GUARD;
    this.strip.height = this.canvas.height;
    this.redraw = true;
    this.draw();
  }

  y(load_N) {
    return this.upper + this.plotH * (1 - load_N / this.top_N);
  }

  /** Draw what has come since the last call, and show it. */
  draw() {
    if (!this.colours) return;
    const samples = this.samples;
    const now_s = this.stopped_s ?? samples?.newest_s ?? null;
    if (now_s !== null) {
      this.scale(now_s);
      if (this.redraw) this.drawAll(now_s);
      else if (this.stopped_s === null) this.drawNew();
    }
    this.show(now_s);
  }

  /** The axis grows at once and shrinks only when much of it is empty. */
  scale(now_s) {
    let highest = this.reference_N ?? 0;
    const first = this.samples.from(now_s - SPAN_S);
    const begin = this.redraw ? first : Math.max(first, this.drawn);
    const look = (from) => {
      for (const { column } of this.series)
        for (let k = from; k < this.samples.end; k++) {
          const value = this.samples.value(column, k);
          if (value > highest) highest = value;
        }
    };
    look(begin);
    const tick = Math.floor(now_s);
    if (tick !== this.looked) {
      this.looked = tick;
      look(first);
      if (highest * 1.08 < this.top_N * 0.6) this.setTop(highest);
    }
    if (highest * 1.02 > this.top_N || this.redraw) this.setTop(highest);
  }

  setTop(highest) {
    const wanted = Math.max(LEAST_TOP_N, highest * 1.08);
    const step = STEPS.find((size) => wanted / size <= 4.5) ?? 5000;
    const top = Math.max(step, Math.ceil((wanted / step) * 4) * step / 4);
    if (top === this.top_N && step === this.step) return;
    this.top_N = top;
    this.step = step;
    this.redraw = true;
  }

  drawAll(now_s) {
    this.ink.clearRect(0, 0, this.strip.width, this.strip.height);
    this.origin_s = now_s - SPAN_S;
    this.redraw = false;
    const first = Math.max(this.samples.start, this.samples.from(now_s - SPAN_S) - 1);
    this.drawn = Math.min(first + 1, this.samples.end);
    this.stroke(first, this.samples.from(now_s + 1e-9));
  }

  drawNew() {
    if (this.drawn < this.samples.start || this.drawn > this.samples.end) {
      this.redraw = true;
      this.drawAll(this.samples.newest_s);
      return;
    }
    if (this.drawn === this.samples.end) return;
    const from_px = this.x(this.samples.time(this.drawn - 1));
    const to_px = this.x(this.samples.time(this.samples.end - 1));
    if (to_px - from_px > this.plotW) {
      this.redraw = true;
      this.drawAll(this.samples.newest_s);
      return;
    }
    this.wipe(from_px + GUARD, to_px + GUARD);
    this.stroke(this.drawn - 1, this.samples.end);
  }

  /** Pixels from the strip's origin, growing without end; the strip holds them modulo its width. */
  x(t_s) {
    return (t_s - this.origin_s) * this.perS;
  }

  wipe(from_px, to_px) {
    const width = this.strip.width;
    const start = Math.floor(from_px);
    let left = Math.ceil(to_px) - start;
    let at = start % width;
    while (left > 0) {
      const piece = Math.min(left, width - at);
      this.ink.clearRect(at, 0, piece, this.strip.height);
      left -= piece;
      at = 0;
    }
  }

  stroke(first, end) {
    if (end - first < 2) return;
    const { ink, samples } = this;
    const width = this.strip.width;
    const base = Math.floor(this.x(samples.time(first)) / width) * width;
    const crosses = this.x(samples.time(end - 1)) - base >= width - 4;
    ink.lineJoin = "round";
    ink.lineCap = "butt";
    ink.lineWidth = (this.cells ? 1.25 : 1.8) * this.unit;
    for (const { column, part, dash } of this.series) {
      ink.strokeStyle = this.colours[part];
      ink.beginPath();
      this.trace(column, dash, first, end, base);
      if (crosses) this.trace(column, dash, first, end, base + width);
      ink.stroke();
    }
    this.drawn = end;
  }

  trace(column, dash, first, end, base) {
    const { ink, samples } = this;
    const period = dash ? dash.reduce((sum, part) => sum + part, 0) * this.unit : 0;
    let down = false;
    let before_s = -Infinity;
    for (let k = first; k < end; k++) {
      const t_s = samples.time(k);
      const value = samples.value(column, k);
      const x = this.x(t_s);
      if (value !== value || t_s - before_s > BREAK_S) down = false;
      before_s = t_s;
      if (value !== value) continue;
      if (down && (!dash || inked(x % period, dash, this.unit))) ink.lineTo(x - base, this.y(value));
      else ink.moveTo(x - base, this.y(value));
      down = true;
    }
  }

  show(now_s) {
    const { pen, canvas, colours } = this;
    pen.fillStyle = colours.paper;
    pen.fillRect(0, 0, canvas.width, canvas.height);
    pen.font = this.font;
    this.drawAxes();
    if (now_s === null) return;
    const width = this.strip.width;
    const begin = Math.round(this.x(now_s)) - this.plotW;
    let at = ((begin % width) + width) % width;
    let done = 0;
    while (done < this.plotW) {
      const piece = Math.min(this.plotW - done, width - at);
      pen.drawImage(this.strip, at, 0, piece, canvas.height, this.left + done, 0, piece, canvas.height);
      done += piece;
      at = 0;
    }
    this.drawEdges(now_s);
    this.drawLabels(now_s);
    this.drawReading(now_s);
  }

  drawAxes() {
    const { pen, colours, unit } = this;
    pen.lineWidth = unit;
    pen.textBaseline = "middle";
    pen.textAlign = "right";
    for (let load_N = 0; load_N <= this.top_N + 1e-6; load_N += this.step) {
      const y = Math.round(this.y(load_N)) + 0.5;
      pen.strokeStyle = load_N === 0 ? colours.quiet : colours.hair;
      pen.beginPath();
      pen.moveTo(this.left, y);
      pen.lineTo(this.left + this.plotW, y);
      pen.stroke();
      pen.fillStyle = colours.quiet;
      pen.fillText(String(load_N), this.left - this.font_px * 0.4, y);
    }
    pen.textBaseline = "alphabetic";
    pen.fillText(words.unit.newton, this.left - this.font_px * 0.4, this.font_px * 0.85);
    const y = this.upper + this.plotH;
    const base = y + this.font_px * 1.35;
    for (let ago_s = SPAN_S; ago_s >= 0; ago_s -= 5) {
      const x = Math.round(this.left + this.plotW - ago_s * this.perS) + 0.5;
      pen.strokeStyle = colours.quiet;
      pen.beginPath();
      pen.moveTo(x, y);
      pen.lineTo(x, y + 0.3 * this.font_px);
      pen.stroke();
      if (ago_s % 10 !== 0) continue;
      pen.textAlign = ago_s === SPAN_S ? "left" : "center";
      pen.fillText(ago_s === 0 ? "0" : String(ago_s), x, base);
    }
    pen.textAlign = "left";
    pen.fillText(words.axisTime, this.left + this.plotW + this.font_px * 0.6, base);
    if (this.reference_N !== null && !this.cells) this.drawReference();
  }

  drawReference() {
    const { pen, colours, unit } = this;
    const y = Math.round(this.y(this.reference_N)) + 0.5;
    pen.strokeStyle = colours.quiet;
    pen.setLineDash([unit * 2, unit * 4]);
    pen.beginPath();
    pen.moveTo(this.left, y);
    pen.lineTo(this.left + this.plotW, y);
    pen.stroke();
    pen.setLineDash([]);
  }

  drawEdges(now_s) {
    const { pen, colours, unit } = this;
    pen.strokeStyle = colours.quiet;
    pen.lineWidth = unit;
    for (const edge_s of this.edges) {
      const ago_s = now_s - edge_s;
      if (ago_s < 0 || ago_s > SPAN_S) continue;
      const x = Math.round(this.left + this.plotW - ago_s * this.perS) + 0.5;
      pen.beginPath();
      pen.moveTo(x, this.upper);
      pen.lineTo(x, this.upper + this.plotH);
      pen.stroke();
    }
  }

  drawLabels(now_s) {
    const { pen, samples } = this;
    const k = samples.nearest(now_s, 2);
    if (k === null) return;
    const labels = [];
    if (this.reference_N !== null && !this.cells) {
      const end_y = this.y(this.reference_N);
      labels.push({ label: words.bodyweight, part: "quiet", end_y, y: end_y });
    }
    for (const { column, part, label } of this.series) {
      const value = lastGood(samples, column, k);
      if (value === null) continue;
      const end_y = Math.max(this.upper, Math.min(this.upper + this.plotH, this.y(value)));
      labels.push({ label, part, end_y, y: end_y });
    }
    this.labelOrder = settled(labels, this.labelOrder, this.font_px * 0.6);
    spread(labels, this.font_px * 1.12, this.font_px * 0.5, this.upper + this.plotH);
    pen.textAlign = "left";
    pen.textBaseline = "middle";
    pen.lineWidth = this.unit;
    const x = this.left + this.plotW;
    for (const { label, part, end_y, y } of labels) {
      pen.strokeStyle = this.colours[part];
      pen.fillStyle = this.colours[part];
      pen.beginPath();
      pen.moveTo(x, end_y);
      pen.lineTo(x + this.font_px * 0.5, y);
      pen.stroke();
      pen.fillText(label, x + this.font_px * 0.7, y);
    }
  }

  drawReading(now_s) {
    if (this.readAgo_s === null) return;
    const { pen, colours, samples, unit } = this;
    const x = Math.round(this.left + this.plotW - this.readAgo_s * this.perS) + 0.5;
    pen.strokeStyle = colours.ink;
    pen.lineWidth = unit;
    pen.setLineDash([unit * 3, unit * 3]);
    pen.beginPath();
    pen.moveTo(x, this.upper - this.font_px * 0.4);
    pen.lineTo(x, this.upper + this.plotH);
    pen.stroke();
    pen.setLineDash([]);
    const k = samples.nearest(now_s - this.readAgo_s, BREAK_S);
    if (k === null) return;
    for (const { column, part } of this.series) {
      const value = samples.value(column, k);
      if (value !== value) continue;
      pen.fillStyle = colours[part];
      pen.beginPath();
      pen.arc(x, this.y(value), 3.2 * unit, 0, 7);
      pen.fill();
    }
  }

  /** What the curves were at the reading line: seconds ago and a list of label, part and load; null without one. */
  reading() {
    if (this.readAgo_s === null || this.samples === null) return null;
    const now_s = this.stopped_s ?? this.samples.newest_s;
    if (now_s === null) return null;
    const k = this.samples.nearest(now_s - this.readAgo_s, BREAK_S);
    const values = this.series.map(({ column, part, label }) => {
      const value = k === null ? NaN : this.samples.value(column, k);
      return { label, part, load_N: Number.isFinite(value) ? value : null };
    });
    return { ago_s: this.readAgo_s, values };
  }

  /** Put the reading line at a place on the page; outside the paper takes it away. */
  readAt(clientX) {
    const box = this.canvas.getBoundingClientRect();
    const x = (clientX - box.left) * this.dpr;
    this.readAgo_s = Math.max(0, Math.min(SPAN_S, (this.left + this.plotW - x) / this.perS));
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

function lastGood(samples, column, k) {
  for (let back = 0; back < 20 && k - back >= samples.start; back++) {
    const value = samples.value(column, k - back);
    if (value === value) return value;
  }
  return null;
}

/** Sort labels from top to bottom, but let neighbours change places only when clearly apart: near ones would dance. */
function settled(labels, before = [], clearly) {
  const place = (entry) => before.indexOf(entry.label);
  labels.sort((a, b) => (place(a) < 0 || place(b) < 0 ? a.y - b.y : place(a) - place(b)));
  for (let round = 0; round < labels.length; round++)
    for (let i = 1; i < labels.length; i++)
      if (labels[i - 1].y - labels[i].y > clearly) [labels[i - 1], labels[i]] = [labels[i], labels[i - 1]];
  return labels.map((entry) => entry.label);
}

/** Push sorted labels apart so that none covers another. */
export function spread(labels, apart, top, bottom) {
  for (let i = 0; i < labels.length; i++) labels[i].y = Math.max(labels[i].y, i === 0 ? top : labels[i - 1].y + apart);
  for (let i = labels.length - 1; i >= 0; i--) labels[i].y = Math.min(labels[i].y, i === labels.length - 1 ? bottom : labels[i + 1].y - apart);
}
