// The live curves: loads of hands and feet, of both sides, of every cell; and the swing.

import { RollingChart } from "./rolling-chart.js";
import { Samples } from "./samples.js";
import { loadAxis } from "../lib/units.js";
import { partName, words } from "../lib/words.js";

const CAPACITY = 30_500; // 30 s at the fastest rig
const SWING_CAPACITY = 1_000; // 30 s of pictures
const LEAST_TOP_N = 200;
const LEAST_TOP_deg = 4;
const DASHES = [null, [7, 5], [2, 4], [10, 4, 2, 4]];

/** Loads in newtons, as they come with the feed; the axis is in the unit that is chosen for this screen. */
export class Curves extends RollingChart {
  /** @param {"sums" | "cells" | "sides"} shows hands and feet, every cell, or both sides of the bar */
  constructor(canvas, shows = "sums") {
    super(canvas, {
      leastTop: LEAST_TOP_N,
      labels: [words.bodyweight, words.partNames.foot_fr, words.partNames.bar_right],
    });
    this.shows = shows;
    this.u = { hands_N: NaN, feet_N: NaN };
  }

  get cells() {
    return this.shows === "cells";
  }

  /** @param channels the rig's channels: name and part */
  setRig(channels) {
    this.channels = channels;
  }

  /** Standard uncertainty of the sums from now on, newtons; null where it is not known. */
  setUncertainty(hands_N, feet_N) {
    this.u = { hands_N: hands_N ?? NaN, feet_N: feet_N ?? NaN };
  }

  /** Take a piece of curve from the feed. */
  push(piece) {
    const count = piece.names.length;
    if (this.samples === null || piece.restart || String(piece.names) !== String(this.samples.names.slice(0, count)))
      this.begin(piece.names);
    const row = new Array(count + 4);
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
      row[count + 2] = this.u.hands_N;
      row[count + 3] = this.u.feet_N;
      this.samples.add(piece.t_s[i], row);
    }
  }

  begin(names) {
    const part = (name) =>
      this.channels?.find((channel) => channel.name === name)?.part ?? (name.startsWith("bar") ? "bar" : "platform");
    this.parts = names.map(part);
    this.samples = new Samples([...names, words.hands, words.feet, "u_hands", "u_feet"], CAPACITY);
    this.edges = [];
    this.stopped_s = null;
    this.choose();
  }

  showCells(cells) {
    this.shows = cells ? "cells" : "sums";
    if (this.samples) this.choose();
  }

  choose() {
    const count = this.parts.length;
    const drawn = { bar: 0, platform: 0 };
    const cells = this.parts.map((part, column) => {
      const dash = DASHES[drawn[part]++ % DASHES.length];
      return { column, part, dash, label: partName(this.samples.names[column]) };
    });
    const sums = [{ column: count, uColumn: count + 2, part: "bar", dash: null, label: words.hands }];
    if (drawn.platform > 0)
      sums.push({ column: count + 1, uColumn: count + 3, part: "platform", dash: null, label: words.feet });
    this.series = { cells, sums, sides: cells.filter(({ part }) => part === "bar") }[this.shows];
    this.thick = this.shows === "sums" ? 1.8 : 1.25;
    this.redraw = true;
  }

  showsReference() {
    return this.reference_N !== null && this.shows !== "sides" && this.shows !== "cells";
  }

  axis() {
    const { unit, ticks } = loadAxis(0, this.top, this.reference_N, 5);
    return { unit, ticks: ticks.map(({ at_N, name }) => ({ at: at_N, name })) };
  }
}

/** Amplitude of the swing in degrees with its standard uncertainty, as it comes with the pictures. */
export class SwingCurve extends RollingChart {
  constructor(canvas) {
    super(canvas, {
      leastTop: LEAST_TOP_deg,
      labels: [words.bodyweight, words.partNames.foot_fr, words.partNames.bar_right, words.coach.stillBand],
    });
    this.reference_N = 1; // degrees: the still band
    this.referenceLabel = words.coach.stillBand;
    this.samples = new Samples([words.coach.swing, "u"], SWING_CAPACITY);
    this.series = [{ column: 0, uColumn: 1, part: "ink", dash: null, label: words.coach.swing }];
  }

  /** Take a picture; one of another clock begins anew. */
  push({ t_s, swing_deg, u_swing_deg }) {
    const newest_s = this.samples.newest_s;
    if (newest_s !== null && (t_s <= newest_s || t_s - newest_s > 3600)) {
      this.samples = new Samples(this.samples.names, SWING_CAPACITY);
      this.redraw = true;
    }
    this.samples.add(t_s, [swing_deg ?? NaN, u_swing_deg ?? NaN]);
  }

  axis() {
    return { unit: words.unit.degree, ticks: super.axis().ticks };
  }
}
