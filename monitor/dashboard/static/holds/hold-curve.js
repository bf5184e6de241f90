// A hold's curve: drawn once, read by pointer or keys.

import { svg } from "../lib/drawing.js";
import { travelText } from "./measures.js";
import { spread } from "../lib/labels.js";
import { fixed } from "../lib/numbers.js";
import { loadAxis, loadText } from "../lib/units.js";
import { words } from "../lib/words.js";

const LEAST_TOP_N = 200;
const TIME_STEPS = [0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300];
const CERTAIN = 0.8;

/** Sums of hands and feet over time since the onset; the curve comes with its zeros taken off. */
export function sumsOf(curve, hold, channels) {
  const part = (name) =>
    channels.find((channel) => channel.name === name)?.part ?? (name.startsWith("bar") ? "bar" : "platform");
  const add = (wanted) => {
    const columns = curve.load_N.filter((_, c) => part(curve.names[c]) === wanted);
    if (columns.length === 0) return null;
    return curve.t_s.map((_, i) =>
      columns.reduce((sum, column) => (sum === null || column[i] === null ? null : sum + column[i]), 0),
    );
  };
  return { t_s: curve.t_s.map((t_s) => t_s - hold.result.onset_s), hands: add("bar"), feet: add("platform") };
}

export class HoldCurve {
  constructor(box, output) {
    this.box = box;
    this.output = output;
    this.root = svg("svg", { class: "chart", "aria-hidden": "true", focusable: "false" });
    box.append(this.root);
    this.at_s = null;
    box.addEventListener("pointermove", (event) => this.point(event));
    box.addEventListener("pointerdown", (event) => this.point(event));
    box.addEventListener("pointerleave", (event) => event.pointerType === "mouse" && this.read(null));
    box.addEventListener("keydown", (event) => this.key(event));
    box.addEventListener("blur", () => this.read(null));
    new ResizeObserver(() => this.draw()).observe(box);
  }

  /**
   * @param hold the hold's card  @param sums of `sumsOf`  @param earlier sums of the hold laid under it, or null
   * @param marks list of {at_s, text}: cues and pain at an instant, on the hold's own time axis
   */
  show(hold, sums, earlier = null, marks = this.marks ?? []) {
    this.hold = hold;
    this.sums = sums;
    this.earlier = earlier;
    this.marks = marks;
    this.draw();
    this.read(null);
  }

  draw() {
    const { width, height } = this.box.getBoundingClientRect();
    if (!this.hold || width < 50 || height < 50) return;
    const em = parseFloat(getComputedStyle(this.box).fontSize);
    const tracks = tracksOf(this.hold.result, this.marks);
    const times = [this.sums, this.earlier].filter(Boolean).flatMap(({ t_s }) => [t_s[0], t_s.at(-1)]);
    this.first_s = Math.min(...times);
    this.last_s = Math.max(...times);
    this.em = em;
    this.left = 3.2 * em;
    this.right =
      width -
      this.widest([words.bodyweight, words.hands, words.feet, words.earlierLabel, ...tracks.map(({ name }) => name)]) -
      em;
    this.top = 1.6 * em;
    this.floor = height - (2.2 + 2.1 * tracks.length) * em;
    this.scale();
    this.root.replaceChildren();
    this.root.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.drawAxes();
    this.drawThirdSupport();
    this.drawAssistance();
    this.drawEdges();
    if (this.earlier) this.drawSums(this.earlier, "earlier");
    this.drawSums(this.sums, "");
    this.drawLabels();
    tracks.forEach((track, i) => this.drawTrack(track, this.floor + (3.0 + 2.1 * i) * em));
    this.cursor = this.add("g", { class: "nb-cursor" });
    this.drawCursor();
  }

  /** Width in pixels of the widest of some labels: fonts and languages differ. */
  widest(labels) {
    // @ts-expect-error not typed yet
    this.ruler ??= document.createElement("canvas").getContext("2d");
    const { fontSize, fontFamily } = getComputedStyle(this.box);
    // @ts-expect-error not typed yet
    this.ruler.font = `${fontSize} ${fontFamily}`;
    // @ts-expect-error not typed yet
    return Math.max(...labels.map((label) => this.ruler.measureText(label).width));
  }

  scale() {
    let top_N = Math.max(LEAST_TOP_N, this.hold.bodyweight_N ?? 0);
    let low_N = 0;
    for (const sums of [this.sums, this.earlier])
      for (const column of [sums?.hands, sums?.feet])
        for (const value of column ?? []) {
          if (value > top_N) top_N = value;
          if (value < low_N) low_N = value;
        }
    this.low_N = low_N < -0.03 * top_N ? low_N * 1.05 : 0; // noise about zero needs no room of its own
    this.top_N = top_N * 1.06;
    this.axis = loadAxis(0, this.top_N, this.hold.bodyweight_N);
    const wide = (this.right - this.left) / (this.em * 4.5);
    this.step_s = TIME_STEPS.find((step) => (this.last_s - this.first_s) / step <= wide) ?? 600;
  }

  x(t_s) {
    return this.left + ((t_s - this.first_s) / (this.last_s - this.first_s)) * (this.right - this.left);
  }

  y(load_N) {
    return this.floor - ((load_N - this.low_N) / (this.top_N - this.low_N)) * (this.floor - this.top);
  }

  add(name, attributes, text = "") {
    const node = svg(name, attributes);
    if (text) node.textContent = text;
    this.root.append(node);
    return node;
  }

  line(className, x1, y1, x2, y2) {
    return this.add("line", { class: className, x1, y1, x2, y2 });
  }

  text(className, x, y, text, anchor = "start") {
    return this.add("text", { class: className, x, y, "text-anchor": anchor }, text);
  }

  drawAxes() {
    const { em, left, right, floor } = this;
    for (const { at_N, name } of this.axis.ticks) {
      const y = this.y(at_N);
      this.line(at_N === 0 ? "nb-base" : "nb-hair", left, y, right, y);
      this.text("nb-quiet", left - 0.5 * em, y + 0.35 * em, name, "end");
    }
    this.text("nb-quiet", left - 0.5 * em, 0.9 * em, this.axis.unit, "end");
    const steps = [Math.ceil(this.first_s / this.step_s), Math.floor(this.last_s / this.step_s)];
    for (let i = steps[0]; i <= steps[1]; i++) {
      const x = this.x(i * this.step_s);
      this.line("nb-base", x, floor, x, floor + 0.35 * em);
      this.text("nb-quiet", x, floor + 1.5 * em, trim(i * this.step_s), "middle");
    }
    this.text("nb-quiet", right + 0.6 * em, floor + 1.5 * em, words.sinceOnset);
    const weight_N = this.hold.bodyweight_N;
    if (weight_N !== null) this.line("nb-weight", left, this.y(weight_N), right, this.y(weight_N));
  }

  /** What bar and platform miss: the stretch is hatched from bodyweight down by what is missing. */
  drawThirdSupport() {
    const weight_N = this.hold.bodyweight_N;
    if (weight_N === null) return;
    for (const part of this.hold.result.third_support) {
      const [from, to] = this.span(part);
      const top = this.y(weight_N);
      const bottom = this.y(weight_N * (1 - part.fraction));
      this.add("rect", {
        class: "nb-missing",
        x: from,
        y: top,
        width: Math.max(2, to - from),
        height: Math.max(1, bottom - top),
      });
      const step = 0.55 * this.em;
      for (let x = from; x < to; x += step) this.line("nb-missing-line", x, bottom, Math.min(to, x + step), top);
      this.text(
        "nb-missing-text",
        (from + to) / 2,
        top - 0.45 * this.em,
        words.heldElsewhere(fixed(part.fraction * 100, 0)),
        "middle",
      );
    }
  }

  /** The feet's share second by second, two standard uncertainties to both sides, as a load: a pale band under their curve. */
  drawAssistance() {
    const { bodyweight_N, result: r } = this.hold;
    if (bodyweight_N === null || !this.sums.feet) return;
    const rows = (r.assistance_course ?? []).filter(([, alpha, u]) => alpha !== null && u !== null);
    if (rows.length < 2) return;
    const at = ([t_s, alpha, u], side) =>
      `${this.x(t_s - r.onset_s).toFixed(1)} ${this.y((alpha + side * 2 * u) * bodyweight_N).toFixed(1)}`;
    const points = [...rows.map((row) => at(row, 1)), ...rows.toReversed().map((row) => at(row, -1))];
    this.add("path", { class: "nb-assistance", d: `M${points.join("L")}Z` });
  }

  drawEdges() {
    for (const t_s of [0, this.hold.result.duration_s]) {
      const x = this.x(t_s);
      this.line("nb-edge", x, this.top - 0.3 * this.em, x, this.floor);
    }
    const r = this.hold.result;
    this.text(
      "nb-quiet",
      (this.x(0) + this.x(r.duration_s)) / 2,
      0.9 * this.em,
      words.seconds(fixed(r.duration_s, 1)),
      "middle",
    );
  }

  drawSums(sums, extra) {
    for (const [column, part] of [
      [sums.hands, "hands"],
      [sums.feet, "feet"],
    ]) {
      if (column === null) continue;
      let path = "";
      let down = false;
      for (let i = 0; i < column.length; i++) {
        if (column[i] === null) {
          down = false;
          continue;
        }
        path += `${down ? "L" : "M"}${this.x(sums.t_s[i]).toFixed(1)} ${this.y(column[i]).toFixed(1)}`;
        down = true;
      }
      this.add("path", { class: `nb-curve nb-${part} ${extra}`, d: path });
    }
  }

  /** Direct labels beside the curves' levels in the hold, instead of a legend. */
  drawLabels() {
    const r = this.hold.result;
    const labels = [];
    const put = (part, text, level_N) => {
      const y = this.y(Math.max(this.low_N, Math.min(this.top_N, level_N)));
      labels.push({ part, text, end_y: y, y });
    };
    if (this.hold.bodyweight_N !== null) put("quiet", words.bodyweight, this.hold.bodyweight_N);
    put("hands", words.hands, levelOf(this.sums, "hands", r.duration_s) ?? 0);
    if (this.sums.feet) put("feet", words.feet, levelOf(this.sums, "feet", r.duration_s) ?? 0);
    if (this.earlier) put("quiet", words.earlierLabel, levelOf(this.earlier, "hands", this.earlier.t_s.at(-1)) ?? 0);
    labels.sort((a, b) => a.y - b.y);
    spread(labels, 1.25 * this.em, this.top, this.floor - 0.6 * this.em);
    for (const { part, text, end_y, y } of labels) {
      this.line(`nb-${part}-thin`, this.right, end_y, this.right + 0.5 * this.em, y);
      this.text(`nb-${part}-text`, this.right + 0.7 * this.em, y + 0.35 * this.em, text);
    }
  }

  span({ start_s, end_s }) {
    const onset_s = this.hold.result.onset_s;
    const inside = (t_s) => Math.max(this.left, Math.min(this.right, this.x(t_s - onset_s)));
    return [inside(start_s), inside(end_s)];
  }

  /** Short marks under the axis, each line with its name at its end. */
  drawTrack({ name, draw }, y) {
    this.text("nb-quiet", this.right + 0.7 * this.em, y + 0.35 * this.em, name);
    this.free_x = -Infinity;
    draw(this, y);
  }

  /** A short text under a mark, left out where it would cover its neighbour. */
  note(x, y, text) {
    const half = text.length * 0.27 * this.em;
    const middle = Math.max(this.left + half, Math.min(this.right - half, x));
    if (middle - half < this.free_x) return;
    this.free_x = middle + half + 0.5 * this.em;
    this.text("nb-small", middle, y, text, "middle");
  }

  point(event) {
    const box = this.box.getBoundingClientRect();
    const share = (event.clientX - box.left - this.left) / (this.right - this.left);
    if (this.hold)
      this.read(Math.max(this.first_s, Math.min(this.last_s, this.first_s + share * (this.last_s - this.first_s))));
  }

  key(event) {
    if (!this.hold) return;
    const step = event.shiftKey ? 1 : 0.1;
    const at_s = this.at_s ?? 0;
    const moves = { ArrowLeft: -step, ArrowDown: -step, ArrowRight: step, ArrowUp: step, PageDown: -5, PageUp: 5 };
    let to_s;
    if (event.key in moves) to_s = this.at_s === null ? 0 : at_s + moves[event.key];
    else if (event.key === "Home") to_s = 0;
    else if (event.key === "End") to_s = this.hold.result.duration_s;
    else if (event.key === "Escape") to_s = null;
    else return;
    event.preventDefault();
    this.read(to_s === null ? null : Math.max(this.first_s, Math.min(this.last_s, to_s)));
  }

  /** Put the reading line at a time and write the values there; null takes it away. */
  read(at_s) {
    this.at_s = at_s;
    this.drawCursor();
    const pieces = at_s === null ? [] : [words.afterOnset(fixed(at_s, 1)), ...this.valuesAt(at_s)];
    this.output.textContent = pieces.map((piece) => piece.replaceAll(" ", "\u00a0")).join("   ") || words.readHint;
    this.box.setAttribute("aria-valuemin", (this.first_s ?? 0).toFixed(1));
    this.box.setAttribute("aria-valuemax", (this.last_s ?? 0).toFixed(1));
    this.box.setAttribute("aria-valuenow", (at_s ?? 0).toFixed(1));
    this.box.setAttribute("aria-valuetext", this.output.textContent);
  }

  valuesAt(at_s) {
    const values = [];
    for (const [sums, name] of [
      [this.sums, (part) => part],
      [this.earlier, words.earlierOf],
    ]) {
      if (sums === null) continue;
      const i = nearest(sums.t_s, at_s);
      for (const [column, part] of [
        [sums.hands, words.hands],
        [sums.feet, words.feet],
      ])
        if (column !== null)
          values.push(
            `${name(part)} ${column[i] === null ? words.noReading : loadText(column[i], { bodyweight_N: this.hold.bodyweight_N })}`,
          );
    }
    return values;
  }

  drawCursor() {
    if (!this.cursor) return;
    this.cursor.replaceChildren();
    if (this.at_s === null) return;
    const x = this.x(this.at_s);
    this.cursor.append(
      svg("line", { class: "nb-reading", x1: x, y1: this.top - 0.3 * this.em, x2: x, y2: this.floor }),
    );
  }
}

function tracksOf(r, marks) {
  const tracks = [];
  if (marks.length > 0)
    tracks.push({
      name: words.track.marks,
      draw: (book, y) => {
        for (const { at_s, text } of marks) {
          const [x] = book.span({ start_s: at_s, end_s: at_s });
          book.add("path", { class: "nb-mark", d: `M${x} ${y}l${-0.3 * book.em} ${-0.6 * book.em}h${0.6 * book.em}z` });
          book.note(x, y + 0.95 * book.em, text);
        }
      },
    });
  if (r.states.length > 0)
    tracks.push({
      name: words.track.shoulders,
      draw: (book, y) => {
        for (const part of r.states) {
          const [from, to] = book.span(part);
          const at = y + (part.state === "active" ? 0.35 : -0.35) * book.em;
          const line = book.line("nb-state", from, at, to, at);
          if (part.certainty < CERTAIN) line.setAttribute("stroke-dasharray", "4 4");
          if (to - from > 5 * book.em)
            book.note(
              (from + to) / 2,
              at + (part.state === "active" ? -0.35 : 1) * book.em,
              words.state[part.state] ?? part.state,
            );
        }
      },
    });
  if (r.travel.length > 0)
    tracks.push({
      name: words.track.travel,
      draw: (book, y) => {
        for (const part of r.travel) {
          const [from, to] = book.span(part);
          const rise = 0.35 * book.em * Math.sign(part.travel_mm);
          book.line("nb-state", from, y + rise - 0.3 * book.em, Math.max(to, from + 3), y - rise - 0.3 * book.em);
          book.note((from + to) / 2, y + 0.95 * book.em, travelText(part));
        }
      },
    });
  if (r.touches.length > 0)
    tracks.push({
      name: words.track.touches,
      draw: (book, y) => {
        for (const part of r.touches) {
          const [from, to] = book.span(part);
          book.add("rect", {
            class: "nb-touch",
            x: from,
            y: y - 0.6 * book.em,
            width: Math.max(2, to - from),
            height: 0.6 * book.em,
          });
          book.note((from + to) / 2, y + 0.95 * book.em, `${fixed(part.alpha_peak * 100, 0)} %`);
        }
      },
    });
  if (r.regrips.length + r.grip_changes_s.length > 0)
    tracks.push({
      name: words.track.hands,
      draw: (book, y) => {
        for (const part of [...r.regrips, ...r.grip_changes_s.map((t_s) => ({ start_s: t_s, end_s: t_s }))]) {
          const [from, to] = book.span(part);
          book.line("nb-state", from, y - 0.4 * book.em, from, y + 0.4 * book.em);
          if (to > from) book.line("nb-state", to, y - 0.4 * book.em, to, y + 0.4 * book.em);
        }
      },
    });
  return tracks;
}

/** The mean of a column within the hold: where its label belongs. */
function levelOf(sums, part, duration_s) {
  const column = sums[part];
  let sum = 0;
  let count = 0;
  column?.forEach((value, i) => {
    if (value === null || sums.t_s[i] < 0 || sums.t_s[i] > duration_s) return;
    sum += value;
    count++;
  });
  return count > 0 ? sum / count : null;
}

function nearest(times, at_s) {
  let low = 0;
  let high = times.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (times[middle] <= at_s) low = middle;
    else high = middle;
  }
  return at_s - times[low] < times[high] - at_s ? low : high;
}

function trim(t_s) {
  return (Number.isInteger(t_s) ? String(t_s) : fixed(t_s, 1)).replace("-", "−");
}
