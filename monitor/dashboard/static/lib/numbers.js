// Numbers cut to what their uncertainty allows, written as the language writes them. Absent stays absent: null in, null out.

import { MARK } from "./words.js";

/** A number with so many decimals, for reading: decimal mark of the language, a true minus sign, none before a zero. */
export function fixed(value, decimals = 0) {
  const text = value.toFixed(decimals);
  return (/^-0(\.0+)?$/.test(text) ? text.slice(1) : text.replace("-", "−")).replace(".", MARK);
}

/** A change: its sign always stands there. */
export function signed(value, decimals) {
  return `${value >= 0 ? "+" : "−"}${fixed(Math.abs(value), decimals)}`;
}

/** Decimals that a standard uncertainty allows: its first significant digit, at most `most`. */
export function decimalsFor(u, most = 1) {
  if (u === null || u === undefined || !(u > 0)) return 0;
  return Math.min(most, Math.max(0, -Math.floor(Math.log10(u) + 1e-9)));
}

/** A value and its uncertainty as text: the value to the uncertainty's digit, the uncertainty rounded up. */
export function cut(value, u, most = 1) {
  if (value === null || value === undefined || !Number.isFinite(value)) return null;
  const decimals = decimalsFor(u, most);
  const step = 10 ** -decimals;
  const shown = fixed(value, decimals);
  const about = u > 0 ? fixed(Math.ceil(u / step - 1e-9) * step, decimals) : null;
  return { shown, about };
}

/** A share of one as percent. */
export function percent(share, u, most = 1) {
  return share === null || share === undefined ? null : cut(share * 100, u === null ? null : u * 100, most);
}

/** Whole seconds while the clock runs, one decimal when it has stopped. */
export function clock(time_s, ended) {
  return ended ? fixed(time_s, 1) : String(Math.floor(time_s + 1e-6));
}
