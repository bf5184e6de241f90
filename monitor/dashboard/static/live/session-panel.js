// Beside the running hold: who hangs, what is asked and what is left, the rest between sets, who steps on, what is next.
// Everything comes with the feed as one card; between two cards the page counts on by its own clock.

import { locale, words } from "../lib/words.js";

const LAST_S = 10;
const REST_SHOWN_S = 900; // after a quarter of an hour nobody is resting between sets
const OFFERS = new Set(["offered", "crowded"]);

export class Beside {
  constructor() {
    this.card = null;
    this.at_ms = 0;
  }

  /** Take a card of the feed. */
  take(card, now_ms = performance.now()) {
    this.card = card;
    this.at_ms = now_ms;
  }

  /** The band of help that is asked for; the setting's where nobody is named. */
  band(alphaMax) {
    const card = this.card;
    if (card === null || card.alpha_max === null) return { low: 0, high: alphaMax };
    return { low: Math.min(card.alpha, card.alpha_max), high: card.alpha_max };
  }

  /** Whether the present load would end the hold before its target, as far as the coaching can tell; null unknown. */
  get short() {
    return this.card?.short_of_target ?? null;
  }

  /** Seconds to the target of a running hold, null without one. */
  left_s(hold) {
    const target_s = this.card?.target_s ?? null;
    return target_s === null || hold === null || hold.ended ? null : target_s - hold.time_s;
  }

  /** What stands beside the time: who, the target and what is left of it, the reserve; `near` in the last seconds. */
  lines(hold) {
    const card = this.card;
    if (card === null) return { who: "", asked: "", reserve: "", near: false };
    const guest = card.who.guest && card.step_on.state !== "off";
    const who = guest ? words.beside.guest : card.who.shown;
    const { target_s, asked } = card;
    const left_s = this.left_s(hold);
    const pieces = [];
    if (target_s !== null && left_s === null) pieces.push(words.asked.target(target_s.toFixed(0)));
    if (left_s !== null) pieces.push(left_s > 0 ? words.beside.leftOf(Math.ceil(left_s), target_s.toFixed(0)) : words.asked.reached);
    if (asked !== null && left_s === null) pieces.push(words.beside.setOf(asked.set_number, asked.sets));
    const used = hold !== null && !hold.ended ? card.reserve?.used : null;
    return {
      who,
      asked: pieces.join("\n"),
      reserve: used ? words.beside.reserve(share(used.value), share(used.low), share(used.high)) : "",
      near: left_s !== null && left_s <= LAST_S,
    };
  }

  /** The rest since the last release, counted on; null when nobody rests. `over` once the asked rest has passed. */
  rest(now_ms = performance.now()) {
    const rest = this.card?.rest ?? null;
    if (rest === null) return null;
    const since_s = rest.since_s + (now_ms - this.at_ms) / 1000;
    if (since_s > REST_SHOWN_S || since_s < 0) return null;
    return { digits: minutes(since_s), of: rest.rest_s === null ? "" : minutes(rest.rest_s), over: rest.rest_s !== null && since_s >= rest.rest_s };
  }

  /** A name that is offered to whoever stands there: the name, the count, and what to do; null without one. */
  offer() {
    const on = this.card?.step_on;
    if (!on || !OFFERS.has(on.state)) return null;
    if (on.state === "crowded") return { name: words.beside.crowded, count: "", then: words.beside.crowdedDo };
    const name = on.shown || words.beside.unnamed;
    return { name: words.beside.isIt(name), count: words.seconds(on.left_s), then: words.beside.offerDo(name, on.others) };
  }

  /** One line on what comes: how a guest came to be one, a pause, the next set, who is next. */
  next(scene) {
    const card = this.card;
    if (card === null) return "";
    const state = card.step_on.state;
    if (scene === "standing" && state === "weighing") return words.beside.weighing;
    if (state === "unsure") return scene === "hanging" ? words.beside.unsure : words.beside.unsureDo;
    const lines = [];
    if (state === "guest" && scene === "standing" && card.who.guest) lines.push(words.beside.guestWhy);
    const asked = card.asked;
    if (asked !== null && scene !== "hanging") {
      const { due_in_s } = card; // told by the program: this screen's clock may be wrong
      if (asked.paused) lines.push(asked.paused);
      else if (asked.set_number === 1 && due_in_s !== null && due_in_s > REST_SHOWN_S) lines.push(words.beside.nextBout(hour(asked.next_at_utc_ms)));
      else lines.push(words.beside.nextSet(asked.title, asked.target_s.toFixed(0), Math.round(asked.alpha * 100), Math.round(asked.alpha_max * 100)));
    }
    if (card.next_up && scene !== "hanging") lines.push(words.beside.nextUp(card.next_up));
    return lines.join("\n");
  }
}

function minutes(seconds) {
  const whole = Math.floor(seconds);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

const HOUR = new Intl.DateTimeFormat(locale, { hour: "2-digit", minute: "2-digit" });

function hour(utc_ms) {
  return HOUR.format(utc_ms);
}

function share(value) {
  return Math.round(Math.max(0, Math.min(1, value)) * 100);
}
