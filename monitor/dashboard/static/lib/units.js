// Loads and lengths in the unit that was chosen for this screen. Everything stored, requested and sent stays in newtons and
// metres; here, at the very edge, it is turned into what somebody reads, with as many digits as the uncertainty allows.

import { cut, fixed, signed } from "./numbers.js";
import { words } from "./words.js";

const KG_PER_LB = 0.45359237; // exact: international yard and pound agreement of 1959
const MM_PER_IN = 25.4; // exact, likewise
const NORMAL_GRAVITY_M_S2 = 9.80665; // 3rd CGPM, 1901

/** The units that may be chosen, by the names that a person's record uses, too. */
export const UNITS = ["kgf", "lbf", "N", "%BW"];
const FIRST = "kgf";

let gravity_m_s2 = NORMAL_GRAVITY_M_S2;
let ofPerson = null;

/** The rig's own gravity: with it a plate of 20 kg reads 20 kg. */
export function useGravity(g_m_s2) {
  gravity_m_s2 = g_m_s2 ?? NORMAL_GRAVITY_M_S2;
}

/** A page about one person speaks in their unit, unless this screen has one of its own. */
export function usePersonUnit(unit) {
  ofPerson = UNITS.includes(unit) ? unit : null;
}

/** The unit chosen for this screen; null: none was. */
export function screenUnit() {
  try {
    const chosen = localStorage.getItem("unit");
    return UNITS.includes(chosen) ? chosen : null;
  } catch {
    return null; // storage may be closed to this page
  }
}

/** Keep a unit for this screen; null leaves it to each person's record, and to kilograms. */
export function chooseUnit(unit) {
  try {
    if (unit === null) localStorage.removeItem("unit");
    else localStorage.setItem("unit", unit);
  } catch {
    // Without storage the choice cannot be kept.
  }
}

/** What is read: how many newtons one of it has, and its name. Percent needs a bodyweight, else it is kilograms. */
export function scale(bodyweight_N = null) {
  const chosen = screenUnit() ?? ofPerson ?? FIRST;
  const unit = chosen === "%BW" && !(bodyweight_N > 0) ? "kgf" : chosen;
  const newtons = { N: 1, kgf: gravity_m_s2, lbf: gravity_m_s2 * KG_PER_LB, "%BW": bodyweight_N / 100 }[unit];
  return { unit, newtons, name: words.units[unit], finer: unit === "N" ? 0 : 1 };
}

/** A load as {shown, about, unit}; null stays null. Without an uncertainty: `digits` decimals of a newton, or as fine in another unit. */
export function load(value_N, { u_N = null, digits = 0, bodyweight_N = null } = {}) {
  if (value_N === null || value_N === undefined || !Number.isFinite(value_N)) return null;
  const { newtons, name, finer } = scale(bodyweight_N);
  const most = digits + finer;
  const number =
    u_N > 0
      ? cut(value_N / newtons, u_N / newtons, Math.max(1, most))
      : { shown: fixed(value_N / newtons, most), about: null };
  return { ...number, unit: name };
}

/** A load as text: "66.9 kg", "66.9 ± 0.2 kg"; empty where there is none. */
export function loadText(value_N, options) {
  return withUnit(load(value_N, options));
}

/** A change of a load as text, with its sign and `digits` decimals of a newton. */
export function changeText(value_N, digits) {
  const { newtons, name, finer } = scale();
  return `${signed(value_N / newtons, digits + finer)} ${name}`;
}

/** A bodyweight is a mass: kilograms, or pounds where pounds are chosen. How many newtons and kilograms one has, its name. */
export function weightScale() {
  const pounds = scale().unit === "lbf";
  const kilograms = pounds ? KG_PER_LB : 1;
  return { newtons: gravity_m_s2 * kilograms, kilograms, name: words.units[pounds ? "lbf" : "kgf"] };
}

export function weight(value_N, u_N = null, most = 2) {
  const { newtons, name } = weightScale();
  const number =
    value_N === null || value_N === undefined
      ? null
      : cut(value_N / newtons, u_N === null || u_N === undefined ? null : u_N / newtons, most);
  return number === null ? null : { ...number, unit: name };
}

export function weightText(value_N, u_N, most) {
  return withUnit(weight(value_N, u_N, most));
}

/** A length of the body's movement: millimetres, or inches where pounds are chosen. */
export function lengthText(value_mm, u_mm = null) {
  if (value_mm === null || value_mm === undefined) return "";
  if (scale().unit !== "lbf") return withUnit({ ...cut(value_mm, u_mm), unit: words.unit.millimetre });
  return withUnit({
    ...cut(value_mm / MM_PER_IN, u_mm === null ? 0.05 : u_mm / MM_PER_IN, 2),
    ...(u_mm === null ? { about: null } : {}),
    unit: words.units.inch,
  });
}

/** Where an axis of loads from `low_N` to `top_N` has its lines: {unit, ticks: [{at_N, name}]}, at most `most` steps. */
export function loadAxis(low_N, top_N, bodyweight_N = null, most = 5) {
  const { newtons, name } = scale(bodyweight_N);
  const span = (top_N - Math.min(0, low_N)) / newtons;
  const power = 10 ** Math.floor(Math.log10(span / most));
  const step = [1, 2, 5, 10].map((factor) => factor * power).find((one) => span / one <= most + 1e-9) ?? 10 * power;
  const decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  const ticks = [];
  for (let i = Math.ceil(low_N / newtons / step - 1e-9); i * step * newtons <= top_N * (1 + 1e-9); i++)
    ticks.push({ at_N: i * step * newtons, name: fixed(i * step, decimals) });
  return { unit: name, ticks };
}

function withUnit(number) {
  return number === null ? "" : `${number.shown}${number.about ? ` ± ${number.about}` : ""} ${number.unit}`;
}
