// Reading values off the curves: by pointer, by touch and by keys.

import { fixed } from "../lib/numbers.js";
import { loadText } from "../lib/units.js";
import { words } from "../lib/words.js";

const SPAN_S = 30;

export class CurveCursor {
  constructor(box, output, curves) {
    this.box = box;
    this.output = output;
    this.curves = curves;
    box.setAttribute("aria-label", words.curvesLabel);
    box.setAttribute("aria-valuemin", "0");
    box.setAttribute("aria-valuemax", String(SPAN_S));
    box.addEventListener("pointermove", (event) => this.point(event));
    box.addEventListener("pointerdown", (event) => this.point(event));
    box.addEventListener("pointerleave", (event) => {
      if (event.pointerType === "mouse") this.leave();
    });
    box.addEventListener("keydown", (event) => this.key(event));
    box.addEventListener("blur", () => this.leave());
    this.refresh();
  }

  point(event) {
    this.curves.readAt(event.clientX);
    this.refresh();
  }

  leave() {
    this.curves.readAgo_s = null;
    this.refresh();
  }

  key(event) {
    const step = event.shiftKey ? 1 : 0.1;
    const at = this.curves.readAgo_s;
    const moves = { ArrowLeft: step, ArrowDown: step, ArrowRight: -step, ArrowUp: -step, PageDown: 5, PageUp: -5 };
    if (event.key in moves)
      this.curves.readAgo_s = at === null ? 0 : Math.max(0, Math.min(SPAN_S, at + moves[event.key]));
    else if (event.key === "Home") this.curves.readAgo_s = SPAN_S;
    else if (event.key === "End") this.curves.readAgo_s = 0;
    else if (event.key === "Escape") this.curves.readAgo_s = null;
    else return;
    event.preventDefault();
    this.refresh();
  }

  refresh() {
    this.curves.draw();
    this.write();
    const reading = this.curves.reading();
    this.box.setAttribute("aria-valuenow", reading ? reading.ago_s.toFixed(1) : "0");
    this.box.setAttribute("aria-valuetext", reading ? this.output.textContent : words.readHint);
  }

  /** Write the values under the reading line; called when the curves have moved on. */
  write() {
    const reading = this.curves.reading();
    if (reading === null) {
      if (this.written !== null) this.output.textContent = words.readHint;
      this.written = null;
      return;
    }
    const pieces = [words.ago(fixed(reading.ago_s, 1))];
    for (const { label, load_N } of reading.values)
      pieces.push(
        `${label} ${load_N === null ? words.noReading : loadText(load_N, { bodyweight_N: this.curves.reference_N })}`,
      );
    const text = pieces.map((piece) => piece.replaceAll(" ", "\u00a0")).join("   ");
    if (text === this.written) return;
    this.written = text;
    this.output.textContent = text;
  }
}
