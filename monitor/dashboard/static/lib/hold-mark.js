// A hold's mark in lists: the plumb line small, drawn from the hold's own numbers.

import { svg } from "./drawing.js";
import { fixed, percent } from "./numbers.js";
import { words } from "./words.js";

const W = 44;
const H = 72;
const X = W / 2;
const TOP = 5;
const FLOOR = H - 4;
const BOB_Y = TOP + (FLOOR - TOP) * 0.5;
const PX_PER_DEGREE = 5; // four degrees reach the edge

/** @param result the hold's measures, keys as in the stored result */
export function holdMark(result) {
  const length = FLOOR - TOP;
  const alpha = result.alpha_mean;
  const hands = percent(alpha === null ? null : result.beta_mean, result.beta_u);
  const feet = percent(alpha, result.alpha_u);
  const swing = result.swing?.rms_deg ?? null;
  const label = words.markOf(
    hands ? `${hands.shown} %` : words.unknown,
    feet ? `${feet.shown} %${result.alpha_direct ? "" : ` (${words.inferred})`}` : words.unknown,
    swing === null ? words.unknown : `${fixed(swing, 1)}°`,
  );
  const root = svg("svg", { viewBox: `0 0 ${W} ${H}`, class: "mark", role: "img", "aria-label": label });
  root.append(line("ink-line", X - 14, TOP, X + 14, TOP, 3), line("ink-line", X - 9, FLOOR, X + 9, FLOOR, 1));
  if (swing !== null) {
    const reach = Math.min(swing * PX_PER_DEGREE, W / 2 - 3);
    for (const side of [-1, 1]) root.append(line("fan", X, TOP, X + side * reach, BOB_Y, 1));
    root.append(line("fan", X - reach, BOB_Y, X + reach, BOB_Y, 1));
  }
  if (alpha === null) {
    root.append(line("idle", X, TOP, X, FLOOR, 1.5));
  } else {
    const markY = FLOOR - length * Math.max(0, Math.min(1, alpha));
    const missing = Math.max(0, ...result.third_support.map((part) => part.fraction));
    const handsEnd = markY - length * missing;
    root.append(line("hands-line", X, TOP, X, handsEnd, 3));
    if (missing > 0) for (const y of [handsEnd, markY]) root.append(line("gap-line", X - 7, y, X + 7, y, 1.5));
    for (const side of [-1.8, 1.8]) {
      const leg = line("feet-line", X + side, markY, X + side, FLOOR, 1.5);
      if (!result.alpha_direct) leg.setAttribute("stroke-dasharray", "2.5 2");
      root.append(leg);
    }
    root.append(line("ink-line", X - 10, markY, X + 10, markY, 2));
  }
  root.append(svg("circle", { class: swing === null ? "ghost" : "bob", cx: X, cy: BOB_Y, r: 3.6 }));
  return root;
}

function line(className, x1, y1, x2, y2, width) {
  return svg("line", { class: className, x1, y1, x2, y2, "stroke-width": width });
}
