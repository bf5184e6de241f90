// How long somebody is believed to hold at which load: the line, its band, and the holds it rests on. Time on a scale of doubling.

import { svg } from "../lib/drawing.js";
import { words } from "../lib/words.js";

const TIMES_S = [5, 10, 20, 30, 60, 120, 300, 600, 1200];

export class EnduranceCurve {
  constructor(box) {
    this.box = box;
    this.root = svg("svg", { class: "chart", role: "img", focusable: "false" });
    box.append(this.root);
    new ResizeObserver(() => this.draw()).observe(box);
  }

  /** @param curve list of {beta, time_s: {value, low, high}}  @param holds points of {beta, duration_s, kind} */
  show(curve, holds, label) {
    this.curve = curve;
    this.holds = holds;
    this.root.setAttribute("aria-label", label);
    this.draw();
  }

  draw() {
    const { width, height } = this.box.getBoundingClientRect();
    if (!this.curve || width < 50 || height < 50) return;
    const em = parseFloat(getComputedStyle(this.box).fontSize);
    const [left, right, top, floor] = [3 * em, width - 5 * em, 1.4 * em, height - 3.2 * em];
    const curve = [...this.curve].sort((a, b) => a.beta - b.beta);
    const holds = this.holds.filter(
      ({ beta, duration_s }) => beta !== null && beta >= 0.3 && beta <= 1.05 && duration_s >= 2,
    );
    const times = [
      ...curve.flatMap(({ time_s }) => [time_s.low, time_s.high]),
      ...holds.map(({ duration_s }) => duration_s),
    ];
    const [low, high] = [
      Math.log(Math.max(2, Math.min(...times) * 0.8)),
      Math.log(Math.min(1200, Math.max(...times) * 1.2)),
    ];
    const x = (beta) => left + ((beta - 0.3) / 0.75) * (right - left);
    const y = (time_s) =>
      floor - ((Math.max(low, Math.min(high, Math.log(time_s))) - low) / (high - low)) * (floor - top);
    const text = (className, at_x, at_y, content, anchor) => {
      const node = svg("text", { class: className, x: at_x, y: at_y, "text-anchor": anchor });
      node.textContent = content;
      this.root.append(node);
    };
    this.root.replaceChildren();
    this.root.setAttribute("viewBox", `0 0 ${width} ${height}`);
    text("nb-quiet", left - 0.5 * em, 0.9 * em, words.unit.second, "end");
    for (const time_s of TIMES_S) {
      if (Math.log(time_s) < low || Math.log(time_s) > high) continue;
      this.root.append(svg("line", { class: "nb-hair", x1: left, y1: y(time_s), x2: right, y2: y(time_s) }));
      text("nb-quiet", left - 0.5 * em, y(time_s) + 0.35 * em, String(time_s), "end");
    }
    for (let share = 40; share <= 100; share += 20)
      text("nb-quiet", x(share / 100), floor + 1.3 * em, String(share), "middle");
    text("nb-quiet", (left + right) / 2, floor + 2.7 * em, words.person.share, "middle");
    const path = (name) => curve.map(({ beta, time_s }) => `${x(beta).toFixed(1)} ${y(time_s[name]).toFixed(1)}`);
    this.root.append(
      svg("path", { class: "nb-band", d: `M${path("low").join("L")}L${path("high").reverse().join("L")}Z` }),
      svg("path", { class: "nb-curve nb-believed", d: `M${path("value").join("L")}` }),
    );
    const last = curve.at(-1);
    text("nb-hands-text", x(last.beta) + 1.2 * em, y(last.time_s.value) + 0.35 * em, words.person.believed, "start");
    for (const { beta, duration_s, kind } of holds)
      this.root.append(
        svg("circle", {
          class: kind === "active" ? "end-active" : "end-passive",
          cx: x(beta),
          cy: y(duration_s),
          r: 0.25 * em,
        }),
      );
  }
}
