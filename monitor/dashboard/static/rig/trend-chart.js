// A few numbers in order, as dots with their uncertainty, so that drift shows.

import { spread } from "../lib/labels.js";
import { svg } from "../lib/drawing.js";
import { fixed } from "../lib/numbers.js";
import { words } from "../lib/words.js";

const STEPS = [0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200];

export class TrendChart {
  /** @param least the least that the axis spans to both sides: small noise must not look like drift */
  constructor(box, unit, least) {
    this.box = box;
    this.unit = unit;
    this.least = least;
    this.series = [];
    this.root = svg("svg", { class: "chart", role: "img", focusable: "false" });
    box.append(this.root);
    new ResizeObserver(() => this.draw()).observe(box);
  }

  /** @param series list of {name, part, points: {value, u}[]}, oldest first; a value may be null */
  show(series) {
    this.series = series.filter(({ points }) => points.some(({ value }) => value !== null));
    const label = this.series.map(({ name, points }) => {
      const values = points.map(({ value }) => value).filter((value) => value !== null);
      return words.rigPage.courseOf(
        name,
        values.length,
        fixed(Math.min(...values), 1),
        fixed(Math.max(...values), 1),
        this.unit,
      );
    });
    this.root.setAttribute("aria-label", label.join("; "));
    this.draw();
  }

  draw() {
    const { width, height } = this.box.getBoundingClientRect();
    if (width < 50 || height < 50) return;
    const em = parseFloat(getComputedStyle(this.box).fontSize);
    const known = this.series.flatMap(({ points }) => points).filter(({ value }) => value !== null);
    const reach = 1.1 * Math.max(this.least, ...known.map(({ value, u }) => Math.abs(value) + (u ?? 0)));
    const [left, right, top, floor] = [3.2 * em, width - 5 * em, 1.4 * em, height - 1.8 * em];
    const y = (value) => top + ((reach - value) / (2 * reach)) * (floor - top);
    const longest = Math.max(2, ...this.series.map(({ points }) => points.length));
    const x = (i, count) => right - em - ((count - 1 - i) / (longest - 1)) * (right - left - 2 * em);
    const step = STEPS.find((size) => reach / size <= 2.5) ?? 500;
    const text = (className, at_x, at_y, content, anchor) => {
      const node = svg("text", { class: className, x: at_x, y: at_y, "text-anchor": anchor });
      node.textContent = content;
      return node;
    };
    this.root.replaceChildren();
    this.root.setAttribute("viewBox", `0 0 ${width} ${height}`);
    for (let tick = -Math.floor(reach / step); tick <= reach / step; tick++) {
      const value = tick * step;
      const name = (Number.isInteger(value) ? String(value) : fixed(value, Math.abs(value) < 0.1 ? 2 : 1)).replace(
        "-",
        "−",
      );
      this.root.append(
        svg("line", { class: tick === 0 ? "nb-base" : "nb-hair", x1: left, y1: y(value), x2: right, y2: y(value) }),
        text("nb-quiet", left - 0.5 * em, y(value) + 0.35 * em, name, "end"),
      );
    }
    this.root.append(
      text("nb-quiet", left - 0.5 * em, 0.9 * em, this.unit, "end"),
      text("nb-quiet", left, height - 0.3 * em, words.rigPage.oldest, "start"),
      text("nb-quiet", right, height - 0.3 * em, words.rigPage.newest, "end"),
    );
    const labels = [];
    for (const { name, part, points } of this.series) {
      points.forEach(({ value, u }, i) => {
        if (value === null) return;
        const at = x(i, points.length);
        if (u)
          this.root.append(
            svg("line", { class: `nb-${part}-thin`, x1: at, y1: y(value - u), x2: at, y2: y(value + u) }),
          );
        this.root.append(svg("circle", { class: `nb-${part}-dot`, cx: at, cy: y(value), r: 0.22 * em }));
      });
      const last = points.findLast(({ value }) => value !== null).value;
      labels.push({ name, part, end_y: y(last), y: y(last) });
    }
    labels.sort((a, b) => a.y - b.y);
    spread(labels, 1.25 * em, top, floor);
    for (const { name, part, end_y, y: at } of labels)
      this.root.append(
        svg("line", { class: `nb-${part}-thin`, x1: right - 0.5 * em, y1: end_y, x2: right + 0.4 * em, y2: at }),
        text(`nb-${part}-text`, right + 0.6 * em, at + 0.35 * em, name, "start"),
      );
  }
}
