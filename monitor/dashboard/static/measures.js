// A hold's measures as rows of text: each with its uncertainty, or with the reason why it is not known.

import { cut, fixed, percent } from "./numbers.js";
import { lengthText, loadText, weightText } from "./units.js";
import { toldFlag, words } from "./words.js";

const WEIGHT = ["bodyweight_unknown", "too_short", "data_missing", "nobody_on_the_rig", "third_support"];
const SWING = [
  "too_short_for_swing", "swing_needs_platform", "swing_only_with_free_feet", "swing_disturbed", "swing_frequency_unclear",
  "swing_below_noise", "swing_below_0.8_deg", "too_short",
];
const TRAVEL = ["travel_needs_platform", "travel_withheld_while_account_open", "kind_unknown"];

/** @returns {{name: string, value: string|null, why: string}[]} rows of this hold; `value` null where not known */
export function measuresOf(hold) {
  const r = hold.result;
  const swing = r.swing ?? {};
  const load = (load_N, digits, u_N = null) => loadText(load_N, { digits, u_N, bodyweight_N: hold.bodyweight_N }) || null;
  const row = (key, value, flags = []) => ({ name: words.measure[key], value, why: value === null ? reason(hold, flags) : "" });
  const inferred = r.alpha_mean !== null && !r.alpha_direct ? `, ${words.inferred}` : "";
  const rows = [
    row("time", withUnit(cut(r.duration_s, r.duration_u_s, 2), words.unit.second)),
    row("hands", withUnit(percent(r.beta_mean, r.beta_u), words.unit.percent), WEIGHT),
    row("feet", add(withUnit(percent(r.alpha_mean, r.alpha_u), words.unit.percent), inferred), WEIGHT),
    row("feetMost", withUnit(percent(r.alpha_p95, r.alpha_u), words.unit.percent), WEIGHT),
    row("clean", plain(r.clean_s, 1, words.unit.second), WEIGHT),
    row("dose", plain(r.dose_bw_s, 0, words.unit.dose), WEIGHT),
    row("weight", weightText(hold.bodyweight_N, hold.bodyweight_u_N) || null, WEIGHT),
    row("account", withUnit(percent(r.misclosure, r.misclosure_u), words.unit.percent), WEIGHT),
    row("swing", swingText(swing), SWING),
    row("settle", plain(r.settle_s, 1, words.unit.second), ["never_settled", ...SWING]),
    row("travel", r.travel.length > 0 ? r.travel.slice(0, 3).map(travelText).join("; ") : null, TRAVEL),
    row("peak", add(load(r.peak_N, 0, r.peak_u_N), r.flags.includes("peak_not_resolved") ? `, ${words.notSure}` : "")),
    row("lateral", lateralText(r), ["hands_not_told_apart"]),
    row("tremor", load(r.tremor_N, 1), ["tremor_not_measurable"]),
    row("zeroBar", load(r.zero_bar_N, 1), ["bar_zero_not_read"]),
    row("zeroFeet", load(r.zero_feet_N, 1), ["platform_zero_not_read"]),
  ];
  return rows;
}

/** One reason for an absent number: the first of the flags that can explain it, in the program's own words. */
function reason(hold, flags) {
  const { flags: raised } = hold.result;
  for (const flag of flags) if (raised.includes(flag)) return toldFlag(flag, hold.notes[raised.indexOf(flag)]);
  return words.noReason;
}

export function travelText(part) {
  const told = lengthText(part.travel_mm, part.u_mm);
  return part.travel_mm > 0 ? `+${told}` : told;
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

function plain(value, decimals, unit) {
  return value === null || value === undefined ? null : withUnit({ shown: fixed(value, decimals), about: null }, unit);
}

function add(text, more) {
  return text === null ? null : text + more;
}

/** What a hold brought, and its reason. */
export function gainOf(hold) {
  const r = hold.result;
  const first = r.dose_bw_s === null ? words.gainedTime(fixed(r.duration_s, 1)) : words.gained(fixed(r.duration_s, 1), fixed(r.dose_bw_s, 0));
  if (r.support === "unassisted" && r.touches.length === 0 && r.regrips.length === 0) return [first, words.gainFree];
  if (r.clean_s !== null && r.clean_s > 0.9 * r.duration_s) return [first, words.gainClean(fixed(r.clean_s, 0), fixed(r.duration_s, 0))];
  if (r.settle_s !== null && r.settle_s < 5) return [first, words.gainStill(fixed(r.settle_s, 1))];
  return [first, ""];
}

/** One thing to try, and its reason: what most spoils a measurement first, then what most helps. */
export function wishOf(hold, alpha_max) {
  const r = hold.result;
  const elsewhere = [...r.third_support].sort((a, b) => b.fraction - a.fraction)[0];
  const share = (part) => fixed(part * 100, 0);
  if (elsewhere) return [words.tryAlone, words.tryAloneWhy(share(elsewhere.fraction), fixed(elsewhere.end_s - elsewhere.start_s, 1))];
  if (r.alpha_mean !== null && r.alpha_mean > alpha_max) return [words.tryLighter, words.tryLighterWhy(share(r.alpha_mean), share(alpha_max))];
  if (r.touches.length > 0) return [words.tryFree, words.tryFreeWhy(r.touches.length)];
  if ((r.swing?.rms_deg ?? 0) > 1) return [words.tryStill, words.tryStillWhy(fixed(r.swing.rms_deg, 1))];
  return [words.tryNothing, ""];
}
