// A hold's measures as rows of text: each with its uncertainty, or with the reason why it is not known.

import { cut, fixed, percent } from "../lib/numbers.js";
import { lengthText, loadText, weightText } from "../lib/units.js";
import { translateFlag, words } from "../lib/words.js";

/** Rows that are more than a number with its uncertainty, by label; `said` is the plain text of the value. */
const TEXTS = {
  feet: ({ result }, said) => add(said, result.alpha_direct ? "" : `, ${words.inferred}`),
  weight: (hold) => weightText(hold.bodyweight_N, hold.bodyweight_u_N) || null,
  swing: ({ result }) => swingText(result.swing ?? {}),
  travel: ({ result }) => (result.travel.length > 0 ? result.travel.slice(0, 3).map(travelText).join("; ") : null),
  peak: ({ result }, said) => add(said, result.flags.includes("peak_not_resolved") ? `, ${words.notSure}` : ""),
  lateral: ({ result }) => lateralText(result),
};

/** Texts of a value and its uncertainty, by unit. Without an uncertainty, loads and times have one decimal. */
const VALUES = {
  s: (value, u) => withUnit(numberText(value, u, 1, 2), words.unit.second),
  1: (value, u) => withUnit(percent(value, u), words.unit.percent),
  N: (value, u_N, { uncertainty }, { bodyweight_N }) =>
    loadText(value, { digits: uncertainty === null ? 1 : 0, u_N, bodyweight_N }),
  "bodyweight-seconds": (value) => withUnit(numberText(value, null, 0), words.unit.dose),
};

/**
 * A hold's measures in the order of their labels.
 * @typedef {{path: string, label: string, unit: string, uncertainty: string|null, reasons: string[]}} Field
 * @param {Field[]} fields those of `/api/hold-fields`
 * @returns {{name: string, value: string|null, why: string}[]} `value` null where not known
 */
export function measuresOf(hold, fields) {
  const order = Object.keys(words.measure);
  const place = ({ label }) => (order.includes(label) ? order.indexOf(label) : order.length);
  return [...fields]
    .sort((a, b) => place(a) - place(b))
    .map((field) => {
      const said = valueText(hold, field);
      const value = TEXTS[field.label] ? TEXTS[field.label](hold, said) : said;
      const why = value === null ? reason(hold, field.reasons) : "";
      return { name: words.measure[field.label] ?? field.label, value, why };
    });
}

function valueText(hold, field) {
  const value = at(hold, field.path);
  if (typeof value !== "number") return null;
  const u = field.uncertainty === null ? null : at(hold, field.uncertainty);
  const text = VALUES[field.unit] ?? (() => withUnit(numberText(value, u, 3, 3), field.unit));
  return text(value, u, field, hold);
}

/** A number to the digit of its uncertainty, at most `most` decimals; without an uncertainty with `decimals`. */
function numberText(value, u, decimals, most) {
  return u === null ? { shown: fixed(value, decimals), about: null } : cut(value, u, most);
}

/** What stands at a path such as `result.swing.max_deg`, null where a part of it is absent. */
function at(hold, path) {
  return path.split(".").reduce((part, name) => part?.[name] ?? null, hold);
}

/** One reason for an absent number: the first of the flags that can explain it, in the program's own words. */
function reason(hold, flags) {
  const { flags: raised } = hold.result;
  for (const flag of flags) if (raised.includes(flag)) return translateFlag(flag, hold.notes[raised.indexOf(flag)]);
  return words.noReason;
}

export function travelText(part) {
  const length = lengthText(part.travel_mm, part.u_mm);
  return part.travel_mm > 0 ? `+${length}` : length;
}

function swingText({ max_deg, rms_deg, frequency_Hz }) {
  if ((max_deg ?? null) === null && (rms_deg ?? null) === null) return null;
  const pieces = [];
  if (max_deg != null) pieces.push(words.swingMost(fixed(max_deg, 1)));
  if (rms_deg != null) pieces.push(words.swingMean(fixed(rms_deg, 1)));
  if (frequency_Hz != null) pieces.push(words.swingRate(fixed(frequency_Hz, 2)));
  return pieces.join(", ");
}

function lateralText({ lateral_m, lateral_u_m }) {
  if (lateral_m === null) return null;
  const cm = cut(Math.abs(lateral_m) * 100, lateral_u_m === null ? null : lateral_u_m * 100);
  return `${withUnit(cm, words.unit.centimetre)} ${lateral_m < 0 ? words.toLeft : words.toRight}`;
}

function withUnit(number, unit) {
  if (number === null) return null;
  return number.about === null ? `${number.shown} ${unit}` : `${number.shown} ± ${number.about} ${unit}`;
}

function add(text, more) {
  return text === null ? null : text + more;
}

/** What a hold brought, and its reason. */
export function gainOf(hold) {
  const r = hold.result;
  const time = fixed(r.duration_s, 1);
  const first = r.dose_bw_s === null ? words.gainedTime(time) : words.gained(time, fixed(r.dose_bw_s, 0));
  if (r.support === "unassisted" && r.touches.length === 0 && r.regrips.length === 0) return [first, words.gainFree];
  if (r.clean_s !== null && r.clean_s > 0.9 * r.duration_s) {
    return [first, words.gainClean(fixed(r.clean_s, 0), fixed(r.duration_s, 0))];
  }
  if (r.settle_s !== null && r.settle_s < 5) return [first, words.gainStill(fixed(r.settle_s, 1))];
  return [first, ""];
}

/** One thing to try, and its reason: what most spoils a measurement first, then what most helps. */
export function suggestionOf(hold, alpha_max) {
  const r = hold.result;
  const elsewhere = [...r.third_support].sort((a, b) => b.fraction - a.fraction)[0];
  const share = (part) => fixed(part * 100, 0);
  if (elsewhere) {
    const time = fixed(elsewhere.end_s - elsewhere.start_s, 1);
    return [words.tryAlone, words.tryAloneWhy(share(elsewhere.fraction), time)];
  }
  if (r.alpha_mean !== null && r.alpha_mean > alpha_max) {
    return [words.tryLighter, words.tryLighterWhy(share(r.alpha_mean), share(alpha_max))];
  }
  if (r.touches.length > 0) return [words.tryFree, words.tryFreeWhy(r.touches.length)];
  if ((r.swing?.rms_deg ?? 0) > 1) return [words.tryStill, words.tryStillWhy(fixed(r.swing.rms_deg, 1))];
  return [words.tryNothing, ""];
}
