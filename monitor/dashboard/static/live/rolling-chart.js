// Live curves that scroll to the left.
//
// A slow board must bear this 20 times a second: each new sample is drawn once, on a hidden strip (strip.js); an update
// copies the strip in two pieces and adds a handful of words; what stands in the margins stays, and an update that brings
// nothing new draws nothing. Only a change of scale, size, colours or choice draws all again.

import { settled, spread } from "../lib/labels.js";
import { fixed } from "../lib/numbers.js";
import { BREAK_S, Strip } from "./strip.js";
import { words } from "../lib/words.js";

const SPAN_S = 30;
const STEPS = [1, 2, 5, 10, 20, 50, 100, 200, 250, 500, 1000, 2000];

/** What every moving paper has: axes, edges, labels and a reading line. The curves themselves are a child's. */
export class RollingChart {
  /** @param leastTop noise of an empty rig must not fill the paper  @param labels words that must find room at the right */
  constructor(canvas, { leastTop, labels }) {
    this.canvas = canvas;
    this.pen = canvas.getContext("2d", { alpha: false });
    this.strip = new Strip((pen, x, width) => this.ground(pen, x, width));
    this.samples = null;
    this.series = [];
    this.stopped_s = null;
    this.readAgo_s = null;
    this.edges = [];
    this.marks = [];
    this.reference_N = null;
    this.referenceLabel = words.bodyweight;
    this.leastTop = leastTop;
    this.labels = labels;
    this.top = leastTop;
    this.step = leastTop / 4;
    this.drawn = 0;
    this.thick = 1.8;
    new ResizeObserver(() => this.fit()).observe(canvas);
    this.fit();
  }

  /** The axis: its unit's name, and where its lines are in the curves' own unit. */
  axis() {
    const ticks = [];
    for (let at = 0; at <= this.top + 1e-6; at += this.step) ticks.push({ at, name: fixed(at, 0) });
    return { unit: "", ticks };
  }

  /** The axis as last computed; anew when the scale has changed, and once a second for another unit. */
  axisNow() {
    const second = Math.floor(performance.now() / 1000);
    if (this.cachedAxis?.top !== this.top || this.cachedAxis.second !== second) {
      const axis = this.axis();
      if (String(axis.ticks.map(({ at }) => at)) !== String(this.cachedAxis?.axis.ticks.map(({ at }) => at)))
        this.redraw = true;
      this.cachedAxis = { top: this.top, second, axis };
    }
    return this.cachedAxis.axis;
  }

  /** Note an edge of a hold: a fine vertical at its time. */
  markEdge(t_s) {
    if (this.edges.some((edge) => Math.abs(edge - t_s) < 0.3)) return;
    this.edges.push(t_s);
    this.shown = "";
    if (this.edges.length > 40) this.edges.shift();
  }

  /** Show marks at their instants: {id, t_s, text}[]. */
  setMarks(marks) {
    this.marks = marks;
    this.shown = "";
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
      paper: colour("--paper"),
      ink: colour("--ink"),
      quiet: colour("--quiet"),
      hair: colour("--hair"),
      bar: colour("--hands"),
      platform: colour("--feet"),
    };
    this.font_px = parseFloat(style.fontSize) * this.dpr;
    this.unit = Math.max(this.dpr, this.font_px / 15); // lines grow with the letters
    this.font = `${this.font_px}px ${style.fontFamily}`;
    this.pen.font = this.font;
    const wide = (text) => this.pen.measureText(text).width;
    this.left = Math.ceil(wide("0000") + this.font_px * 0.6);
    this.right = Math.ceil(Math.max(...this.labels.map(wide)) + this.font_px * 1.3);
    this.upper = Math.ceil(this.font_px * 1.5);
    this.lower = Math.ceil(this.font_px * 1.7);
    this.margins = null;
    this.plotW = Math.max(10, this.canvas.width - this.left - this.right);
    this.plotH = Math.max(10, this.canvas.height - this.upper - this.lower);
    this.perS = this.plotW / SPAN_S;
    this.strip.fit(this.plotW, this.canvas.height, SPAN_S);
    this.redraw = true;
    this.draw();
  }

  y(value) {
    return this.upper + this.plotH * (1 - value / this.top);
  }

  /** Draw what has come since the last call, and show it. */
  draw() {
    if (!this.colours) return;
    const samples = this.samples;
    const now_s = this.stopped_s ?? samples?.newest_s ?? null;
    this.axisNow();
    const shown = `${samples?.end} ${this.stopped_s} ${this.readAgo_s} ${this.reference_N} ${this.cachedAxis.second}`;
    if (shown === this.shown && !this.redraw) return;
    this.shown = shown;
    if (now_s !== null) {
      this.scale(now_s);
      if (this.redraw) this.drawAll(now_s);
      else if (this.stopped_s === null) this.drawNew();
    }
    this.show(now_s);
  }

  /** The axis grows at once and shrinks only when much of it is empty. */
  scale(now_s) {
    let highest = this.showsReference() ? this.reference_N : 0;
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
      if (highest * 1.08 < this.top * 0.6) this.setTop(highest);
    }
    if (highest * 1.02 > this.top || this.redraw) this.setTop(highest);
  }

  setTop(highest) {
    const wanted = Math.max(this.leastTop, highest * 1.08);
    const step = STEPS.find((size) => wanted / size <= 4.5) ?? 5000;
    const top = Math.max(step, (Math.ceil((wanted / step) * 4) * step) / 4);
    if (top === this.top && step === this.step) return;
    this.top = top;
    this.step = step;
    this.redraw = true;
  }

  drawAll(now_s) {
    this.strip.begin(now_s - SPAN_S);
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
    const from_px = this.strip.x(this.samples.time(this.drawn - 1));
    const to_px = this.strip.x(this.samples.time(this.samples.end - 1));
    if (to_px - from_px > this.plotW) {
      this.redraw = true;
      this.drawAll(this.samples.newest_s);
      return;
    }
    this.strip.wipe(from_px, to_px);
    this.stroke(this.drawn - 1, this.samples.end);
  }

  stroke(first, end) {
    if (end - first < 2) return;
    const series = this.series.map((one) => ({ ...one, colour: this.colours[one.part] }));
    this.strip.stroke(this.samples, series, first, end, (value) => this.y(value), this.unit, this.thick * this.unit);
    this.drawn = end;
  }

  /** Background and the axis' lines, from a column on; on the strip, and here before the first sample. */
  ground(pen, x, width) {
    const { colours, unit } = this;
    pen.fillStyle = colours.paper;
    pen.fillRect(x, 0, width, this.canvas.height);
    for (const { at } of this.axisNow().ticks) {
      pen.fillStyle = at === 0 ? colours.quiet : colours.hair;
      pen.fillRect(x, Math.round(this.y(at)) + 0.5 - unit / 2, width, unit);
    }
  }

  show(now_s) {
    const { pen, canvas, colours, unit, left, plotW } = this;
    const bottom = Math.ceil(this.upper + this.plotH + 0.3 * this.font_px);
    pen.font = this.font;
    if (this.margins !== this.axisNow()) this.drawMargins();
    if (now_s === null) return;
    this.strip.copy(pen, now_s, left, plotW, bottom);
    pen.fillStyle = colours.paper;
    pen.fillRect(left - 4 * unit, 0, 4 * unit, bottom);
    pen.fillRect(left + plotW, 0, canvas.width - left - plotW, bottom + 0.25 * this.font_px);
    this.drawTicks();
    if (this.showsReference()) this.drawReference();
    this.drawEdges(now_s);
    this.drawMarks(now_s);
    this.drawLabels(now_s);
    this.drawReading(now_s);
  }

  /** What stays until scale, unit, size or light change: the numbers of both axes. */
  drawMargins() {
    const { pen, canvas, colours } = this;
    this.margins = this.axisNow();
    pen.fillStyle = colours.paper;
    pen.fillRect(0, 0, canvas.width, canvas.height);
    this.ground(pen, this.left, this.plotW);
    pen.fillStyle = colours.quiet;
    pen.textBaseline = "middle";
    pen.textAlign = "right";
    const right = this.left - this.font_px * 0.4;
    const { ticks } = this.margins;
    // Where the paper is low only every second line, or fewer, has its number: they must not lie over each other.
    const apart = ticks.length > 1 ? Math.abs(this.y(ticks[1].at) - this.y(ticks[0].at)) : Infinity;
    const every = Math.max(1, Math.ceil((1.15 * this.font_px) / apart));
    for (let i = 0; i < ticks.length; i += every)
      pen.fillText(ticks[i].name, right, Math.round(this.y(ticks[i].at)) + 0.5);
    pen.textBaseline = "alphabetic";
    pen.fillText(this.margins.unit, right, this.font_px * 0.85);
    const base = this.upper + this.plotH + this.font_px * 1.35;
    for (let ago_s = SPAN_S; ago_s >= 0; ago_s -= 10) {
      pen.textAlign = ago_s === SPAN_S ? "left" : "center";
      pen.fillText(String(ago_s), Math.round(this.left + this.plotW - ago_s * this.perS) + 0.5, base);
    }
    pen.textAlign = "left";
    pen.fillText(words.axisTime, this.left + this.plotW + this.font_px * 0.6, base);
    this.drawTicks();
    if (this.showsReference()) this.drawReference();
  }

  drawTicks() {
    const { pen, colours, unit } = this;
    pen.fillStyle = colours.quiet;
    for (let ago_s = SPAN_S; ago_s >= 0; ago_s -= 5) {
      const x = Math.round(this.left + this.plotW - ago_s * this.perS) + 0.5;
      pen.fillRect(x - unit / 2, this.upper + this.plotH, unit, 0.3 * this.font_px);
    }
  }

  showsReference() {
    return this.reference_N !== null;
  }

  drawReference() {
    const { pen, colours, unit } = this;
    const y = Math.round(this.y(this.reference_N)) + 0.5;
    pen.strokeStyle = colours.quiet;
    pen.lineWidth = unit;
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

  drawMarks(now_s) {
    if (this.marks.length === 0) return;
    const { pen, colours, unit } = this;
    pen.save();
    pen.beginPath();
    pen.rect(this.left, 0, this.canvas.width - this.left, this.upper + this.plotH);
    pen.clip(); // nothing of a mark may stay in the margin
    pen.strokeStyle = colours.ink;
    pen.fillStyle = colours.ink;
    pen.lineWidth = 1.5 * unit;
    pen.textAlign = "center";
    pen.textBaseline = "alphabetic";
    for (const { t_s, text } of this.marks) {
      const ago_s = now_s - t_s;
      if (ago_s < 0 || ago_s > SPAN_S) continue;
      const x = Math.round(this.left + this.plotW - ago_s * this.perS) + 0.5;
      pen.beginPath();
      pen.moveTo(x, this.upper + this.plotH);
      pen.lineTo(x, this.upper + this.plotH - 0.8 * this.font_px);
      pen.stroke();
      pen.fillText(text, x, this.upper + this.plotH - this.font_px);
    }
    pen.restore();
  }

  drawLabels(now_s) {
    const { pen, samples } = this;
    const k = samples.nearest(now_s, 2);
    if (k === null) return;
    const labels = [];
    if (this.showsReference()) {
      const end_y = this.y(this.reference_N);
      labels.push({ label: this.referenceLabel, part: "quiet", end_y, y: end_y });
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

function lastGood(samples, column, k) {
  for (let back = 0; back < 20 && k - back >= samples.start; back++) {
    const value = samples.value(column, k - back);
    if (value === value) return value;
  }
  return null;
}
