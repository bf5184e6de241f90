// The rig's own health: what it says now, cell by cell, and how its zeros and its account have moved over the last holds.

import { TrendChart } from "./trend-chart.js";
import { Curves } from "../live/curves.js";
import { say } from "../lib/drawing.js";
import { Feed } from "../lib/feed.js";
import { ask, byId, element, frame, tell } from "../lib/frame.js";
import { fixed, percent } from "../lib/numbers.js";
import { loadText, scale, weightText } from "../lib/units.js";
import { locale, partName, words } from "../lib/words.js";

const OLD_S = 2;
const LOOK_MS = 500;
const LAST_HOLDS = 40;
const MEAN_S = 1;
const STILL_N = 2; // spread of one cell's readings in that second above which somebody is still stepping off
const ZERO_GOOD_N = 2; // up to here a check calls the zeros good, too
const DAY_MS = 86_400_000;

const text = words.rigPage;
const state = {
  rig: null,
  picture: null,
  health: null,
  screens: null,
  version: null,
  recent: new Map(),
  cells: new Map(),
};
const curves = new Curves(byId("curves"));
const LEAST_DRIFT_N = 5;
const zeros = new TrendChart(byId("zeros"), words.unit.newton, LEAST_DRIFT_N);
const accounts = new TrendChart(byId("accounts"), words.unit.percent, 1);
let feed = null;

start();

async function start() {
  state.rig = await frame("/rig", () => curves.restyle());
  if (state.rig === null) return;
  curves.setRig(state.rig.channels);
  curves.showCells(true);
  for (const channel of state.rig.channels) byId("cells").append(cellRow(channel));
  feed = new Feed(take, () => {});
  setInterval(look, LOOK_MS);
  state.offers = await ask("/api/screens").catch(() => ({}));
  byId("work").hidden = !state.offers.procedures;
  await Promise.all([readCalibration(), readHistory(), readVersion()].map((reading) => reading.catch(tell)));
  look();
}

function take(message) {
  if (message.type === "beat") Object.assign(state, { health: message.health, screens: message.screens });
  else if (message.type === "picture") {
    state.picture = message.picture;
    if (message.curve) keep(message.curve);
  } else if (message.type === "event") readHistory().catch(tell);
}

/** Keep the last second of every cell, for its mean and spread. */
function keep(piece) {
  curves.push(piece);
  piece.names.forEach((name, c) => {
    if (piece.restart || !state.recent.has(name)) state.recent.set(name, []);
    const samples = state.recent.get(name);
    piece.t_s.forEach((t_s, i) => piece.load_N[c][i] !== null && samples.push([t_s, piece.load_N[c][i]]));
    const from_s = (piece.t_s.at(-1) ?? 0) - MEAN_S;
    while (samples.length > 0 && samples[0][0] < from_s) samples.shift();
  });
}

function cellRow({ name, part }) {
  const row = element("tr");
  const head = element("th", part, partName(name));
  head.scope = "row";
  const cells = {
    part: element("td", "", text.parts[part]),
    load: element("td", "load"),
    spread: element("td"),
    zero: element("td"),
    span: element("td"),
    u: element("td"),
  };
  row.append(head, ...Object.values(cells));
  state.cells.set(name, cells);
  return row;
}

function look() {
  const age_s = feed.age_s();
  const old = age_s === null || age_s > OLD_S || !feed.connected;
  const link = state.health?.link ?? null;
  const condition = feed.connected ? (link?.condition ?? "connecting") : "unreachable";
  const well = !old && condition === "connected" && state.picture?.scene !== "not_ready";
  say(
    byId("state"),
    well
      ? text.measuring
      : condition === "connected"
        ? text.waiting
        : text.quietLine(words.link[condition] ?? condition),
  );
  byId("state").classList.toggle("trouble", !well);
  const why = feed.connected ? [link?.reason, link?.do] : [words.oldDo.closed];
  say(byId("reason"), well ? "" : why.filter(Boolean).join(" "));
  showWarnings([...(state.health?.warnings ?? []), ...(state.picture?.warnings ?? [])]);
  showFacts(age_s, link);
  for (const [name, cells] of state.cells) showCell(cells, old ? [] : (state.recent.get(name) ?? []));
  showZero(well);
  curves.draw();
}

function showWarnings(warnings) {
  const list = byId("warnings");
  if (list.dataset.shown === warnings.join("\n")) return;
  list.dataset.shown = warnings.join("\n");
  list.replaceChildren(...warnings.map((warning) => element("li", "", warning)));
}

function showFacts(age_s, link) {
  const picture = state.picture;
  const weight = weightText(picture?.bodyweight_N, picture?.bodyweight_u_N);
  const account = percent(picture?.misclosure, 0.0005);
  const facts = [
    [
      text.since,
      link === null
        ? words.noTime
        : link.since_s === undefined
          ? words.link[link.condition]
          : text.sinceOf(words.link[link.condition] ?? link.condition, text.time(link.since_s)),
    ],
    [text.age, age_s === null ? words.oldNever : text.ageOf(fixed(age_s, 1))],
    [
      text.rate,
      picture?.rate_Hz == null
        ? words.noTime
        : text.rateOf(fixed(picture.rate_Hz, 2), fixed(state.rig.nominal_rate_Hz, 0)),
    ],
    [text.lost, picture === null ? words.noTime : text.lostOf(picture.lost)],
    [text.spikes, picture === null ? words.noTime : text.spikesOf(picture.spikes)],
    [
      text.account,
      account === null
        ? text.accountWhy
        : picture.misclosure_open
          ? `${account.shown} %, ${text.accountOpen}`
          : `${account.shown} %`,
    ],
    [
      text.weight,
      weight === ""
        ? words.unknown
        : [weight, words.weightSource[picture.bodyweight_source]].filter(Boolean).join(", "),
    ],
    [text.screens, state.screens === null ? words.noTime : String(state.screens)],
    [text.version, state.version ?? words.noTime],
  ];
  const list = byId("facts");
  if (list.childElementCount === 0) for (const [name] of facts) list.append(element("dt", "", name), element("dd"));
  facts.forEach(([, value], i) => say(list.children[2 * i + 1], value));
}

function showCell(cells, samples) {
  if (samples.length < 2) {
    say(cells.load, words.noReading);
    say(cells.spread, words.noTime);
    return;
  }
  say(cells.load, loadText(meanOf(samples), { digits: 1 }));
  say(cells.spread, loadText(spreadOf(samples), { digits: 2 }));
}

const meanOf = (samples) => samples.reduce((sum, [, load_N]) => sum + load_N, 0) / samples.length;

/** Standard deviation in newtons of two readings or more. */
function spreadOf(samples) {
  const mean = meanOf(samples);
  return Math.sqrt(samples.reduce((sum, [, load_N]) => sum + (load_N - mean) ** 2, 0) / (samples.length - 1));
}

/** Propose a new zero where the empty rig reads something; a person takes it, never the page. */
function showZero(well) {
  if (!well || state.picture?.scene !== "empty" || byId("work").hidden) {
    say(byId("zero-hint"), "");
    return;
  }
  const parts = ["bar", "platform"].map((part) => {
    const samples = state.rig.channels
      .filter((channel) => channel.part === part)
      .map(({ name }) => state.recent.get(name) ?? []);
    if (samples.length === 0 || samples.some((one) => one.length < 2 || spreadOf(one) > STILL_N)) return null;
    const sum_N = samples.reduce((sum, one) => sum + meanOf(one), 0);
    return Math.abs(sum_N) > ZERO_GOOD_N ? `${loadText(sum_N)} (${text.parts[part]})` : null;
  });
  const empty = parts.filter((one) => one !== null);
  say(byId("zero-hint"), empty.length > 0 ? words.procedures.emptyReads(empty.join(", ")) : "");
}

async function readCalibration() {
  const inForce = state.offers.procedures ? await ask("/api/rig/calibrations") : null;
  if (inForce !== null && inForce.calibration !== null) {
    say(byId("calibration"), words.procedures.inForceNow(inForce.calibration.id || words.unknown));
    showSpans(inForce.calibration.channels);
    return;
  }
  const calibration = await ask("/api/rig/calibration");
  say(
    byId("calibration"),
    calibration === null
      ? text.calibrationNone
      : text.calibrationOf(calibration.id, new Date(calibration.session_utc_ms).toLocaleDateString(locale)),
  );
  showSpans(calibration?.channels ?? []);
}

function showSpans(channels) {
  for (const one of channels) {
    const cells = state.cells.get(one.channel);
    if (cells === undefined) continue;
    say(cells.zero, ago(one.zero_at || null));
    say(cells.span, ago(one.span_at || null));
    say(cells.u, one.u_rel_span == null ? words.unknown : `± ${fixed(one.u_rel_span * 100, 2)} %`);
  }
}

/** How long ago a date was; as it stands where it is no date. */
function ago(date) {
  if (date === null) return words.unknown;
  const at = new Date(date);
  return Number.isNaN(at.getTime())
    ? date
    : `${at.toLocaleDateString(locale)}, ${text.days(Math.max(0, Math.floor((Date.now() - at.getTime()) / DAY_MS)))}`;
}

async function readHistory() {
  const { holds } = await ask(`/api/holds?limit=${LAST_HOLDS}`);
  const results = holds.map((hold) => hold.result).reverse();
  const points = (name, u, factor) =>
    results.map((r) => ({
      value: r[name] === null ? null : r[name] * factor,
      u: u && r[u] !== null ? r[u] * factor : null,
    }));
  byId("history").hidden = holds.length === 0;
  byId("no-history").hidden = holds.length > 0;
  say(byId("no-history"), text.noHistory);
  const { newtons, name } = scale();
  Object.assign(zeros, { unit: name, least: LEAST_DRIFT_N / newtons });
  zeros.show([
    { name: words.hands, part: "hands", points: points("zero_bar_N", null, 1 / newtons) },
    { name: words.feet, part: "feet", points: points("zero_feet_N", null, 1 / newtons) },
  ]);
  accounts.show([{ name: text.accountName, part: "quiet", points: points("misclosure", "misclosure_u", 100) }]);
}

async function readVersion() {
  state.version = (await ask("/api/health")).version;
}
