// Numbers along the calendar: dots with their uncertainty, a line where there is one, what is ahead dashed.

import { svg } from "../lib/drawing.js";
import { fixed } from "../lib/numbers.js";
import { locale, words } from "../lib/words.js";

const DAY_MS = 86_400_000;
const MOST_DOTS = 250;

export class Timeline {
  constructor(box) {
    this.box = box;
    this.root = svg("svg", { class: "chart", role: "img", focusable: "false" });
    box.append(this.root);
    new ResizeObserver(() => this.draw()).observe(box);
  }

  /**
   * @param series list of {name, part, line, points: {at_ms, value, low, high, ahead}[]}; `low`, `high` may be absent
   * @param axis of {unit, low, high}: the least that the axis spans
   */
  show(name, series, axis) {
    this.series = series.map((one) => ({
      ...one,
      points: thinned(one.points.filter(({ value }) => value !== null && value !== undefined)),
    }));
    this.axis = axis;
    const said = this.series
      .filter(({ points }) => points.length > 0)
      .map(({ name: of, points }) => {
        const values = points.map(({ value }) => value);
        return words.person.courseOf(
          of,
          points.length,
          number(Math.min(...values)),
          number(Math.max(...values)),
          axis.unit,
          number(values.at(-1)),
        );
      });
    this.root.setAttribute("aria-label", `${name}: ${said.join("; ") || words.person.courseNone}`);
    this.draw();
    return said.length > 0;
  }

  draw() {
    const { width, height } = this.box.getBoundingClientRect();
    if (!this.series || width < 50 || height < 50) return;
    const em = parseFloat(getComputedStyle(this.box).fontSize);
    const all = this.series.flatMap(({ points }) => points);
    this.root.replaceChildren();
    this.root.setAttribute("viewBox", `0 0 ${width} ${height}`);
    const text = (className, x, y, content, anchor = "start") => {
      const node = svg("text", { class: className, x, y, "text-anchor": anchor });
      node.textContent = content;
      this.root.append(node);
    };
    if (all.length === 0) return text("nb-quiet", width / 2, height / 2, words.person.courseNone, "middle");
    const labels = this.series.length > 1;
    const [left, right, top, floor] = [3.2 * em, width - (labels ? 5.5 : 1.2) * em, 1.6 * em, height - 1.9 * em];
    const low = Math.min(this.axis.low ?? 0, ...all.map((point) => point.low ?? point.value));
    const high = Math.max(this.axis.high ?? 0, ...all.map((point) => point.high ?? point.value));
    const first = Math.min(...all.map(({ at_ms }) => at_ms)) - DAY_MS / 2;
    const last = Math.max(...all.map(({ at_ms }) => at_ms), first + 6 * DAY_MS) + DAY_MS / 2;
    const x = (at_ms) => left + ((at_ms - first) / (last - first)) * (right - left);
    const y = (value) => floor - ((value - low) / (high - low || 1)) * (floor - top);
    const step = stepOf((high - low) / 4);
    text("nb-quiet", left - 0.5 * em, 0.9 * em, this.axis.unit, "end");
    for (let tick = Math.ceil(low / step - 1e-9) * step; tick <= high * (1 + 1e-9); tick += step) {
      this.root.append(
        svg("line", {
          class: Math.abs(tick) < step / 2 ? "nb-base" : "nb-hair",
          x1: left,
          y1: y(tick),
          x2: right,
          y2: y(tick),
        }),
      );
      text("nb-quiet", left - 0.5 * em, y(tick) + 0.35 * em, fixed(tick, step < 1 ? 1 : 0), "end");
    }
    const days = new Intl.DateTimeFormat(
      locale,
      last - first > 300 * DAY_MS ? { month: "short", year: "2-digit" } : { day: "numeric", month: "short" },
    );
    const dates = Math.max(1, Math.min(5, Math.floor((right - left) / (6.5 * em))));
    for (let i = 0; i < dates; i++) {
      const at_ms = first + (dates === 1 ? 0 : ((last - first) * i) / (dates - 1));
      text(
        "nb-quiet",
        x(at_ms),
        height - 0.4 * em,
        days.format(at_ms),
        i === 0 ? "start" : i === dates - 1 ? "end" : "middle",
      );
    }
    const ends = [];
    for (const { name, part, line, points } of this.series) {
      if (points.length === 0) continue;
      for (const [ahead, className] of [
        [false, "nb-curve"],
        [true, "nb-curve earlier"],
      ]) {
        const run = points.filter((point, i) => Boolean(point.ahead) === ahead || (ahead && points[i + 1]?.ahead));
        if (line && run.length > 1) {
          if (run.some((point) => point.low !== undefined))
            this.root.append(
              svg("path", {
                class: "nb-band",
                d: `M${run.map((p) => `${x(p.at_ms)} ${y(p.high)}`).join("L")}L${[...run]
                  .reverse()
                  .map((p) => `${x(p.at_ms)} ${y(p.low)}`)
                  .join("L")}Z`,
              }),
            );
          this.root.append(
            svg("path", {
              class: `${className} tl-${part}`,
              d: `M${run.map((p) => `${x(p.at_ms)} ${y(p.value)}`).join("L")}`,
            }),
          );
        }
      }
      for (const point of points) {
        if (line && point.ahead) continue;
        if (!line && point.low !== undefined)
          this.root.append(
            svg("line", {
              class: `tl-${part}`,
              x1: x(point.at_ms),
              y1: y(point.low),
              x2: x(point.at_ms),
              y2: y(point.high),
            }),
          );
        this.root.append(
          svg("circle", {
            class: `tl-dot tl-${part}`,
            cx: x(point.at_ms),
            cy: y(point.value),
            r: (points.length > 60 ? 0.16 : 0.24) * em,
          }),
        );
      }
      if (labels) ends.push({ part, name, y: y(points.at(-1).value) });
    }
    ends.sort((a, b) => a.y - b.y);
    ends.forEach((end, i) => {
      if (i > 0) end.y = Math.max(end.y, ends[i - 1].y + 1.2 * em);
      text(`nb-${end.part}-text`, right + 0.5 * em, end.y + 0.35 * em, end.name);
    });
  }
}

/** Many dots become the median of each day, then of each week: the shape stays, the number of dots is bounded. */
function thinned(points) {
  for (const span_ms of [DAY_MS, 7 * DAY_MS, 30 * DAY_MS]) {
    if (points.length <= MOST_DOTS) break;
    const groups = new Map();
    for (const point of points) {
      const span = Math.floor(point.at_ms / span_ms);
      groups.set(span, [...(groups.get(span) ?? []), point]);
    }
    points = [...groups.values()].map(
      (group) => [...group].sort((a, b) => a.value - b.value)[Math.floor(group.length / 2)],
    );
  }
  return points;
}

function stepOf(rough) {
  const power = 10 ** Math.floor(Math.log10(rough || 1));
  return [1, 2, 5, 10].map((factor) => factor * power).find((step) => step >= rough);
}

function number(value) {
  return fixed(value, Math.abs(value) < 10 && !Number.isInteger(value) ? 1 : 0);
}
