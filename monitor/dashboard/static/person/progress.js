// How it went: each measure along the calendar, and two periods compared.

import { ask, byId, element, tell } from "../lib/frame.js";
import { fixed } from "../lib/numbers.js";
import { Timeline } from "./timeline.js";
import { lengthText } from "../lib/units.js";
import { translateName, words } from "../lib/words.js";

const text = words.course;
const DAY_MS = 86_400_000;
const SPANS = [30, 90, 365, null]; // days; null: all

const percent = (share) => (share === null ? null : share * 100);
const point = (hold, value, u = null) => ({
  at_ms: hold.at_utc_ms,
  value,
  ...(u > 0 && value !== null ? { low: value - u, high: value + u } : {}),
});
const noon = (day) => Date.parse(`${day}T12:00:00Z`);

/** What is drawn: a chart's series from a person's progress. */
const CHARTS = {
  assistance: {
    unit: "%",
    series: ({ points }) => [
      {
        name: text.assistance,
        part: "feet",
        points: points.map((hold) => point(hold, percent(hold.alpha), percent(hold.u_alpha))),
      },
    ],
  },
  minutes: {
    unit: "min",
    series: ({ days }) => [
      {
        name: text.atRig,
        part: "hands",
        points: days
          .filter(({ rig_min }) => rig_min > 0)
          .map(({ day, rig_min }) => ({ at_ms: noon(day), value: rig_min })),
      },
      ...(days.some(({ by_hand_min }) => by_hand_min > 0)
        ? [
            {
              name: text.byHand,
              part: "quiet",
              points: days
                .filter(({ by_hand_min }) => by_hand_min > 0)
                .map(({ day, by_hand_min }) => ({ at_ms: noon(day), value: by_hand_min })),
            },
          ]
        : []),
    ],
  },
  longest: {
    unit: "s",
    series: ({ points }) =>
      ["passive", "active"].map((kind) => ({
        name: words.kind[kind],
        part: kind === "passive" ? "hands" : "quiet",
        line: true,
        points: running(points.filter((hold) => hold.kind === kind && hold.support === "unassisted")),
      })),
  },
  dose: {
    unit: words.units.dose,
    series: ({ days }) => [
      {
        name: words.measure.dose,
        part: "hands",
        points: days
          .filter(({ dose_bw_s }) => dose_bw_s > 0)
          .map(({ day, dose_bw_s }) => ({ at_ms: noon(day), value: dose_bw_s })),
      },
    ],
  },
  stillness: {
    unit: "°",
    series: ({ points }) => [
      { name: words.measure.swing, part: "hands", points: points.map((hold) => point(hold, hold.swing_deg)) },
    ],
  },
  sides: {
    unit: "mm",
    series: ({ points }) => [
      {
        name: words.measure.lateral,
        part: "hands",
        points: points.map((hold) => point(hold, hold.lateral_m === null ? null : hold.lateral_m * 1000)),
      },
    ],
  },
  travel: {
    unit: "mm",
    series: ({ points }) => [
      { name: words.measure.travel, part: "hands", points: points.map((hold) => point(hold, hold.travel_mm)) },
    ],
  },
  pain: {
    unit: "",
    high: 10,
    series: ({ pain }) =>
      [...new Set(pain.map(({ place }) => place))].slice(0, 3).map((place, i) => ({
        name: place ? translateName(place) : words.person.painTitle,
        part: ["hands", "feet", "quiet"][i],
        points: pain.filter((one) => one.place === place).map((one) => ({ at_ms: one.at_utc_ms, value: one.pain })),
      })),
  },
};

/** The longest so far, at each hold that was longer. */
function running(holds) {
  let longest = 0;
  return holds
    .filter(({ duration_s }) => duration_s > longest && (longest = duration_s))
    .map((hold) => ({ at_ms: hold.at_utc_ms, value: hold.duration_s }));
}

export class Progress {
  constructor(at) {
    this.at = at;
    this.charts = Object.entries(CHARTS).map(([key, chart]) => {
      const box = element("div", "course");
      const figure = element("figure");
      figure.append(element("figcaption", "", text.charts[key]), box);
      byId("courses").append(figure);
      return { ...chart, key, figure, line: new Timeline(box) };
    });
    // @ts-expect-error not typed yet
    for (const days of SPANS) byId("span").add(new Option(text.spans(days), days ?? ""));
    byId("span").value = "90";
    byId("span").addEventListener("change", () => this.show());
    byId("compare-form").addEventListener("submit", (event) => this.compare(event));
  }

  /** @param all a person's whole progress  @param today their day now */
  take(all, today) {
    this.all = all;
    this.today = today;
    const form = byId("compare-form").elements;
    if (form.before_first.value === "") {
      const day = (back) => new Date(Date.parse(today) - back * DAY_MS).toISOString().slice(0, 10);
      Object.assign(form.before_first, { value: day(27) });
      Object.assign(form.before_last, { value: day(14) });
      Object.assign(form.after_first, { value: day(13) });
      Object.assign(form.after_last, { value: day(0) });
    }
    this.show();
  }

  show() {
    const days = byId("span").value;
    const first_ms = days === "" ? 0 : Date.parse(this.today) - Number(days) * DAY_MS;
    const within = {
      points: this.all.points.filter(({ at_utc_ms }) => at_utc_ms >= first_ms),
      days: this.all.days.filter(({ day }) => noon(day) >= first_ms),
      pain: this.all.pain.filter(({ at_utc_ms }) => at_utc_ms >= first_ms),
    };
    // @ts-expect-error not typed yet
    for (const { key, unit, high, series, figure, line } of this.charts)
      figure.hidden = !line.show(text.charts[key], series(within), { unit, high }) && key !== "assistance";
  }

  async compare(event) {
    event.preventDefault();
    const form = event.target;
    const empty = [...form.elements].find((field) => field.name && field.value === "");
    if (empty) return empty.focus();
    try {
      // @ts-expect-error not typed yet
      const comparisons = await ask(`${this.at}/comparison?${new URLSearchParams(new FormData(form))}`);
      tell(null);
      byId("compared").hidden = false;
      byId("compare-answer").textContent = "";
      byId("compare-rows").replaceChildren(...Object.entries(comparisons).map(([name, one]) => comparison(name, one)));
    } catch (error) {
      tell(error);
    }
  }
}

/** What a measure is compared in: how a value is written. */
const WRITTEN = {
  duration: (v) => `${fixed(v, 1)} s`,
  "clean time": (v) => `${fixed(v, 1)} s`,
  assistance: (v) => `${fixed(v * 100, 1)} %`,
  swing: (v) => `${fixed(v, 1)}°`,
  side: (v) => `${fixed(v * 100, 1)} cm`,
  travel: (v) => lengthText(v),
  dose: (v) => fixed(v, 0),
};

function comparison(name, { before, after, n_before, n_after, difference, low, high }) {
  const write = WRITTEN[name] ?? ((v) => fixed(v, 1));
  const row = element("tr");
  const head = element("th", "", text.measures[name] ?? name);
  head.scope = "row";
  const mean = (value, n) => (value === null ? words.noTime : `${write(value)} (${text.holds(n)})`);
  const signed = (value) => (value > 0 ? `+${write(value)}` : write(value));
  const reach =
    difference === null
      ? words.noTime
      : low === null
        ? signed(difference)
        : `${signed(difference)} (${text.range(signed(low), signed(high))})`;
  const says =
    difference === null
      ? text.nothingThere
      : low === null
        ? text.tooFew
        : low > 0 || high < 0
          ? text.change
          : text.noChange;
  row.append(
    head,
    element("td", "", mean(before, n_before)),
    element("td", "", mean(after, n_after)),
    element("td", "", reach),
    element("td", "quiet", says),
  );
  return row;
}
