// Joins feed and drawings. Pictures come 20 times a second: drawings follow each, words and figures five times a second.
// The coach's page shows the same and adds to it: it listens here.

import { SessionPanel } from "./session-panel.js";
import { say } from "../lib/drawing.js";
import { Curves } from "./curves.js";
import { Feed } from "../lib/feed.js";
import { byId, fillPages, fillWords, reportPageErrors } from "../lib/frame.js";
import { LastHolds } from "./last-holds.js";
import { clock, cut, fixed, percent } from "../lib/numbers.js";
import { CurveCursor } from "./curve-cursor.js";
import { PlumbLine } from "./plumb-line.js";
import { SettingsForm } from "./settings-form.js";
import { chooseTheme } from "../lib/theme-choice.js";
import { Sounds } from "./sounds.js";
import { Announcer } from "./announcer.js";
import { loadText, useGravity, weightText } from "../lib/units.js";
import { words } from "../lib/words.js";

const OLD_S = 1.5;
const RESULT_SHOWN_S = 8;
const FIGURES_MS = 200;
const IDLE_MS = 250;
const DESCRIBE_MS = 5000;

export const state = {
  rig: null,
  picture: null,
  health: null,
  settings: null,
  lastHold: null,
  onset_s: null,
  skipped: 0,
  number: 0,
  due: false,
  drawnAt_ms: -Infinity,
  mistake: null,
};

const plumbLine = new PlumbLine(byId("plumbline"));
export const curves = new Curves(byId("curves"));
const paper = new CurveCursor(byId("paper"), byId("reading"), curves);
const holds = new LastHolds(byId("hold-list"), byId("holds-none"));
const panel = new SessionPanel();
const sounds = new Sounds(byId("sound-list"));
const announcer = new Announcer(byId("spoken"));
const form = new SettingsForm(byId);
const listeners = [];
let figuresAt_ms = -Infinity;
let describedAt_ms = -Infinity;
let describedScene = "";

// Shown at once: a mistake in drawing would also stop the drawing that shows it.
reportPageErrors((mistake) => {
  state.mistake = mistake;
  writeNotice(...mistakeLines());
});
labels();
chooseTheme(byId("theme"), () => {
  curves.restyle();
  tellOthers("light");
});
const feed = new Feed(take, () => {
  readRig();
  holds.refresh();
  schedule();
});
setInterval(() => performance.now() - state.drawnAt_ms > IDLE_MS / 2 && schedule(), IDLE_MS); // ages and clocks go on without pictures
schedule();

/** Hear every message of the feed, and with null each drawing; `"rig"` and `"light"` when these have changed. */
export function listen(listener) {
  listeners.push(listener);
}

function tellOthers(message) {
  for (const listener of listeners) listener(message);
}

function take(message) {
  if (message.type === "picture") {
    state.picture = message.picture;
    state.number = message.number;
    state.skipped += message.skipped;
    if (message.curve) curves.push(message.curve);
    const hold = message.picture.hold;
    if (hold) {
      curves.markEdge(hold.onset_s);
      if (!hold.ended && hold.onset_s !== state.onset_s) {
        state.onset_s = hold.onset_s;
        state.lastHold = null; // the measures of an earlier hold must not pass for this one's
      }
      if (hold.ended) curves.markEdge(hold.onset_s + hold.time_s);
    }
  } else if (message.type === "beat") {
    state.health = message.health;
    state.settings = message.settings;
    form.show(message.settings);
  } else if (message.type === "bar") {
    panel.update(message.bar);
  } else {
    if (message.type === "event") takeEvent(message);
    holds.refresh();
  }
  tellOthers(message);
  schedule();
}

/** A hold was closed, revised or withdrawn: the one that is on the screen follows. */
function takeEvent({ kind, uid, hold }) {
  if (kind === "closed") state.lastHold = hold;
  else if (state.lastHold?.uid === uid) state.lastHold = hold;
}

/** Ask for one drawing at the next frame, however many messages come until then. */
function schedule() {
  if (state.due) return;
  state.due = true;
  requestAnimationFrame(draw);
}

function draw(now_ms) {
  state.due = false;
  state.drawnAt_ms = now_ms;
  const age_s = feed.age_s();
  const old = age_s === null || age_s > OLD_S || !feed.connected;
  const picture = age_s === null ? null : withHold(state.picture);
  const scene = picture?.scene ?? "waiting";
  if (document.body.dataset.scene !== scene) document.body.dataset.scene = scene;
  if (document.body.classList.contains("old") !== old) {
    document.body.classList.toggle("old", old);
    curves.restyle(); // an old screen has paler colours
    tellOthers("light");
  }
  if (state.settings !== null) plumbLine.setBand(panel.band(state.settings.alpha_max), panel.short);
  plumbLine.draw(picture);
  curves.reference_N = picture?.bodyweight_N ?? null;
  const u_N = (u) => (u == null || picture.bodyweight_N === null ? null : u * picture.bodyweight_N);
  curves.setUncertainty(u_N(picture?.u_beta), u_N(picture?.u_alpha));
  curves.draw();
  tellOthers(null);
  drawNow(picture);
  if (now_ms - figuresAt_ms > FIGURES_MS) {
    figuresAt_ms = now_ms;
    drawShares(picture);
    drawStillness(picture);
    drawRig(picture);
    paper.write();
    drawNotice(picture, age_s, old);
    // @ts-expect-error not typed yet
    document.body.dataset.picture = state.number;
  }
  if (now_ms - describedAt_ms > DESCRIBE_MS || scene !== describedScene) {
    describedAt_ms = now_ms;
    describedScene = scene;
    byId("plumbline").setAttribute("aria-label", plumbLine.describe());
  }
}

function drawNow(picture) {
  const scene = picture?.scene ?? "waiting";
  const hold = picture?.hold ?? null;
  const shown = hold !== null && (scene === "hanging" || justEnded(picture));
  say(byId("scene"), shown && hold.provisional && !hold.ended ? words.provisional : words.scene[scene]);
  drawTime(shown ? hold : null, scene);
  const lines = panel.lines(shown ? hold : null);
  say(byId("who"), lines.who);
  say(byId("target"), lines.target);
  say(byId("reserve"), lines.reserve);
  byId("target").classList.toggle("near", lines.near);
  sounds.follow({
    hanging: scene === "hanging" && hold !== null,
    onset_s: hold?.onset_s ?? null,
    sure: hold !== null && !hold.provisional,
    silent: panel.paused !== "",
    out: plumbLine.verdict === "lighter" || plumbLine.verdict === "more",
    left_s: panel.left_s(hold),
  });
  const gained = shown && hold.ended ? gainedBy(hold) : "";
  const offer = shown ? null : panel.offer();
  const paused = offer ? "" : panel.paused;
  const word = paused || gained || plumbLine.wordElsewhere();
  byId("after").classList.toggle("paused", paused !== "");
  say(byId("after"), offer?.then ?? (word || [before(picture), panel.next(scene)].filter(Boolean).join("\n")));
  const message = offer
    ? `${offer.name} ${offer.then}`
    : paused || (scene === "let_go" && shown ? gained || `${clock(hold.time_s, true)} ${words.unit.second}` : "");
  announcer.scene(scene, message);
}

/** The large place: the hold's time, else a name that is offered, else the rest between sets. */
function drawTime(hold, scene) {
  const offer = hold === null ? panel.offer() : null;
  const paused = hold === null && offer === null && panel.paused !== "";
  const resting = hold === null && offer === null && !paused && scene !== "waiting" && scene !== "not_ready";
  const rest = resting ? panel.rest() : null;
  let digits = words.noTime;
  let tenths = "";
  let unit = "";
  if (hold !== null) {
    // A phone has no room for tenths: its style leaves them out, at whatever instant the screen is turned.
    [, digits, tenths = ""] = /^(\d+)(\D\d)?$/.exec(clock(hold.time_s, hold.ended));
    unit = words.unit.second;
  } else if (offer !== null) [digits, unit] = [offer.name, offer.count];
  else if (paused) digits = words.panel.paused;
  else if (rest !== null)
    [digits, unit] = [rest.digits, rest.over ? words.panel.restOver(rest.of) : words.panel.restOf(rest.of)];
  say(byId("time-whole"), digits);
  say(byId("time-tenths"), tenths);
  say(byId("time-unit"), unit);
  const is = byId("time").classList;
  is.toggle("long", hold !== null && hold.time_s >= 99.95);
  is.toggle("unsure", hold !== null && hold.provisional);
  is.toggle("none", hold === null && offer === null && rest === null && !paused);
  is.toggle("offer", offer !== null || paused);
  is.toggle("rest", rest !== null);
  is.toggle("over", rest?.over ?? false);
}

/** What there is to say before a hold: an invitation, or the bodyweight just weighed. */
function before(picture) {
  if (picture?.scene === "empty") return state.rig?.has_platform === false ? words.invite.bar : words.invite.platform;
  if (picture?.scene !== "standing" || picture.bodyweight_N === null) return "";
  return words.weighed(weightText(picture.bodyweight_N, picture.bodyweight_u_N, 1));
}

/** What a hold brought, once its measures have come; until then nothing is said. */
function gainedBy(hold) {
  const last = resultOf(hold);
  if (last === null || last.dose_bw_s === null) return "";
  return words.gained(fixed(last.duration_s, 1), fixed(last.dose_bw_s, 0));
}

/** The measures of the hold that the clock has just timed, null until they have come. */
function resultOf(hold) {
  const last = state.lastHold?.result;
  return last && Math.abs(last.duration_s - hold.time_s) < 0.5 ? last : null;
}

/** A result stays long enough to be read by the one who has just let go, whatever the rig sees meanwhile. */
function justEnded(picture) {
  if (!picture?.hold?.ended || picture.scene === "leaning") return false;
  return picture.scene === "let_go" || picture.t_s - picture.hold.onset_s - picture.hold.time_s < RESULT_SHOWN_S;
}

/** After letting go, the line and the shares stay with the hold: its means, as soon as they are known. */
function withHold(picture) {
  const last = justEnded(picture) ? resultOf(picture.hold) : null;
  if (last === null || last.beta_mean === null || last.alpha_mean === null) return picture;
  return {
    ...picture,
    ofHold: true,
    misclosure_open: false,
    surplus: null,
    alpha_direct: last.alpha_direct,
    beta: last.beta_mean,
    u_beta: last.beta_u,
    alpha: last.alpha_mean,
    u_alpha: last.alpha_u,
  };
}

function drawShares(picture) {
  const scene = picture?.scene ?? "waiting";
  const open = picture?.misclosure_open ?? false;
  const reasons = { waiting: words.shareWhy.waiting, not_ready: words.shareWhy.rig, empty: words.shareWhy.nobody };
  const surplus = picture != null && picture.surplus !== null;
  const noShare = scene === "hanging" && picture.bodyweight_N !== null ? words.shareWhy.open : words.shareWhy.weight;
  const why = surplus ? words.surplusLoad.join(" ") : (reasons[scene] ?? noShare);
  const loads = (load_N) => loadText(load_N, { bodyweight_N: picture?.bodyweight_N ?? null });
  const about = (load_N) => (open ? words.shareWhy.open : picture?.ofHold ? words.meanOfHold : loads(load_N));
  const handsInferred = picture?.beta != null && Boolean(picture.beta_inferred);
  figure("hands", percent(picture?.beta, picture?.u_beta), about(picture?.bar_N), why, handsInferred);
  const judged = scene === "hanging" && !open && state.settings !== null;
  const feetAbout = judged ? allowed(picture.alpha) : about(picture?.feet_N);
  const inferred = picture?.alpha != null && !picture.alpha_direct;
  figure("feet", percent(picture?.alpha, picture?.u_alpha), feetAbout, why, inferred);
}

/** The requested band of assistance, in words. */
function allowed(alpha) {
  const band = panel.band(state.settings.alpha_max);
  if (band === null) return "";
  const { low, high } = band;
  const percents = [low, high].map((part) => Math.round(part * 100));
  if (low > 0 && alpha !== null && alpha < low && plumbLine.verdict === "fine") return words.panel.enough;
  return low > 0 ? words.panel.allowedBand(...percents) : words.allowed(percents[1]);
}

function figure(name, value, about, why, inferred = false) {
  say(byId(`${name}-digits`), value ? value.shown : words.noTime);
  say(byId(`${name}-unit`), value ? words.unit.percent : "");
  const first = [value?.about == null ? "" : words.plusMinus(value.about), inferred ? words.inferred : ""];
  say(byId(`${name}-aside`), value ? [first.filter(Boolean).join(", "), about].filter(Boolean).join("\n") : why);
}

function drawStillness(picture) {
  const hanging = picture?.scene === "hanging";
  const still = hanging ? picture.still : null;
  say(
    byId("still-word"),
    still === null || still === undefined ? words.notJudged : still ? words.still : words.swinging,
  );
  const why = !hanging
    ? words.stillWhy.nobody
    : (picture.alpha ?? 0) > 0.02
      ? words.stillWhy.feet
      : words.stillWhy.unknown;
  const swing = hanging ? cut(picture.swing_deg, picture.u_swing_deg) : null;
  const pieces = [];
  if (hanging && picture.shoulders !== null) pieces.push(kindText(picture));
  if (swing) pieces.push(words.swing(swing.shown));
  if (hanging && picture.lateral_m !== null && Math.abs(picture.lateral_m) >= 0.005)
    pieces.push(
      words.offset(fixed(Math.abs(picture.lateral_m) * 100, 0), picture.lateral_m < 0 ? words.left : words.right),
    );
  say(byId("still-aside"), pieces.length > 0 ? pieces.join("\n") : still === null || still === undefined ? why : "");
}

/** Passive or active, with how sure it is. */
function kindText({ shoulders, shoulders_certainty }) {
  const kind = words.kind[shoulders === "drawn" ? "active" : "passive"];
  return shoulders_certainty === null ? kind : words.panel.certain(kind, Math.floor(shoulders_certainty * 100));
}

function drawRig(picture) {
  const facts = [];
  const condition = feed.connected ? state.health?.link.condition : "unreachable";
  if (condition) facts.push(words.link[condition] ?? condition);
  if (picture && picture.rate_Hz !== null) facts.push(words.rate(fixed(picture.rate_Hz, 1)));
  if (picture) facts.push(words.lost(picture.lost));
  if (picture && picture.spikes > 0) facts.push(words.spikes(picture.spikes));
  if (state.skipped > 0) facts.push(words.skipped(state.skipped));
  say(byId("rig-facts"), facts.join(" · "));
}

/** One notice at a time: an old screen first, then a rig that cannot measure, a mistake of the page, the rig's warnings. */
function drawNotice(picture, age_s, old) {
  const link = state.health?.link;
  const warnings = [...(picture?.warnings ?? []), ...(state.health?.warnings ?? [])];
  let what = "";
  let then = "";
  if (old) {
    what = age_s === null ? words.oldNever : words.old(Math.max(1, Math.floor(age_s)));
    const reason = feed.connected && link && link.condition !== "connected" ? link : null;
    then = reason
      ? [reason.reason, reason.do].filter(Boolean).join(" ")
      : feed.connected
        ? words.oldDo.mute
        : words.oldDo.closed;
  } else if (picture?.scene === "not_ready") {
    then = [link?.reason, ...warnings, link?.do].filter(Boolean).join(" ");
  } else if (state.mistake !== null) {
    [what, then] = mistakeLines();
  } else if (warnings.length > 0) {
    then = warnings.join(" ");
  }
  byId("notice").classList.toggle("notice-old", old);
  writeNotice(what, then);
  announcer.old(old && age_s !== null);
}

function writeNotice(what, then) {
  byId("notice").hidden = what === "" && then === "";
  say(byId("notice-what"), what);
  say(byId("notice-do"), then);
}

function mistakeLines() {
  return [state.mistake.what, `${state.mistake.means} ${state.mistake.then}`];
}

async function readRig() {
  try {
    const answer = await fetch("/api/rig");
    if (!answer.ok) return;
    state.rig = await answer.json();
  } catch {
    return; // the feed comes back, and asks again
  }
  say(byId("rig-name"), state.rig.name);
  say(byId("rig-invented"), state.rig.invented ? words.invented : "");
  byId("rig-invented").hidden = !state.rig.invented;
  curves.setRig(state.rig.channels);
  useGravity(state.rig.gravity_m_s2);
  tellOthers("rig");
}

function labels() {
  fillWords();
  const texts = {
    "hands-label": words.hands,
    "feet-label": words.feet,
    "still-label": words.stillLabel,
    "holds-title": words.holds,
    "holds-csv": words.holdsCsv,
    "curves-cells": words.cells,
    "curves-stop": words.stop,
    "settings-title": words.settings,
    "set-alpha-label": words.setAlpha,
    "set-weight-label": words.setWeight,
    "set-hint": words.setHint,
    "set-save": words.setSave,
    "sounds-title": words.sounds.title,
    "sounds-legend": words.sounds.title,
    "sounds-hint": words.sounds.hint,
    "theme-label": words.theme,
  };
  for (const [id, text] of Object.entries(texts)) say(byId(id), text);
  fillPages(byId("pages"), location.pathname);
  document.title = `${words.product}: ${words.pages.names[location.pathname]}`;
  for (const [id, turn] of [
    ["curves-cells", (on) => curves.showCells(on)],
    ["curves-stop", (on) => curves.stop(on)],
  ]) {
    // @ts-expect-error not typed yet
    byId(id).addEventListener("click", (event) => {
      const on = event.currentTarget.getAttribute("aria-pressed") !== "true";
      event.currentTarget.setAttribute("aria-pressed", String(on));
      // @ts-expect-error not typed yet
      turn(on);
      curves.draw();
    });
  }
}
