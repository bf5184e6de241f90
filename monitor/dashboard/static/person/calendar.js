// A month as a row of plumb lines: each day hangs from the bar, as long as its minutes; the floor is the day's goal.

import { svg } from "../lib/drawing.js";
import { words } from "../lib/words.js";

export class Calendar {
  constructor(box) {
    this.box = box;
    this.root = svg("svg", { class: "chart", role: "img", focusable: "false" });
    box.append(this.root);
    new ResizeObserver(() => this.draw()).observe(box);
  }

  /** @param days list of {day: number, rig_min, by_hand_min}, one for each day of the month; `today` its number or null */
  show(days, goal_min, today, label) {
    this.days = days;
    this.goal_min = goal_min;
    this.today = today;
    this.root.setAttribute("aria-label", label);
    this.draw();
  }

  draw() {
    const { width, height } = this.box.getBoundingClientRect();
    if (!this.days || width < 50 || height < 50) return;
    const em = parseFloat(getComputedStyle(this.box).fontSize);
    const [left, right, top, floor, bottom] = [0.5 * em, width - 3.5 * em, 0.8 * em, height - 4 * em, height - 2 * em];
    const step = (right - left) / this.days.length;
    const line = (className, x1, y1, x2, y2) => this.root.append(svg("line", { class: className, x1, y1, x2, y2 }));
    const number = (x, text) => {
      const node = svg("text", { class: "nb-quiet", x, y: height - 0.4 * em, "text-anchor": "middle" });
      node.textContent = text;
      this.root.append(node);
    };
    this.root.replaceChildren();
    this.root.setAttribute("viewBox", `0 0 ${width} ${height}`);
    line("cal-bar", left, top, right, top);
    line("nb-base", left, floor, right, floor);
    const goal = svg("text", { class: "nb-quiet", x: right + 0.5 * em, y: floor + 0.35 * em });
    goal.textContent = words.person.goal(this.goal_min);
    this.root.append(goal);
    const length = (minutes) => Math.min(bottom, top + (minutes / this.goal_min) * (floor - top)); // beyond the goal it stands below the floor
    for (const { day, rig_min, by_hand_min } of this.days) {
      const x = left + (day - 0.5) * step;
      const all_min = rig_min + by_hand_min;
      if (all_min > 0) {
        line("cal-day", x, top, x, length(rig_min));
        if (by_hand_min > 0) line("cal-day cal-hand", x, length(rig_min), x, length(all_min));
        this.root.append(
          svg("circle", {
            class: all_min >= 0.999 * this.goal_min ? "cal-done" : "cal-begun",
            cx: x,
            cy: length(all_min),
            r: 0.28 * em,
          }),
        );
      } else line("nb-hair", x, top, x, top + 0.4 * em);
      if (day === 1 || day % 5 === 0 || day === this.today)
        if (day === this.today || Math.abs(day - (this.today ?? -9)) > 1) number(x, String(day));
      if (day === this.today) line("cal-today", x - 0.7 * em, height - 0.05 * em, x + 0.7 * em, height - 0.05 * em);
    }
  }
}
