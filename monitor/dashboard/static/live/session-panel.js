// The panel beside the running hold: who hangs, target and time left, rest between sets, who steps on, what is next.
// The feed sends its data as one message; between two messages the page counts on by its own clock.

import { locale, translateSentences, words } from "../lib/words.js";

const LAST_S = 10;
const REST_SHOWN_S = 900; // after a quarter of an hour nobody is resting between sets
const OFFERS = new Set(["offered", "crowded"]);

export class SessionPanel {
  constructor() {
    this.bar = null;
    this.at_ms = 0;
  }

  /** Take the panel's data from the feed. */
  update(bar, now_ms = performance.now()) {
    this.bar = bar;
    this.at_ms = now_ms;
  }

  /** Why whoever is named does not hang now, and what to do; empty where they may. */
  get paused() {
    return translateSentences(this.bar?.paused ?? "");
  }

  /** The requested band of assistance; the setting's where nobody is named, null for somebody who is paused. */
  band(alphaMax) {
    const bar = this.bar;
    if (this.paused) return null;
    if (bar === null || bar.alpha_max === null) return { low: 0, high: alphaMax };
    return { low: Math.min(bar.alpha, bar.alpha_max), high: bar.alpha_max };
  }

  /** Whether the present load would end the hold before its target, as far as the coaching can tell; null unknown. */
  get short() {
    return this.bar?.short_of_target ?? null;
  }

  /** Seconds to the target of a running hold, null without one. */
  left_s(hold) {
    const target_s = this.bar?.target_s ?? null;
    return target_s === null || hold === null || hold.ended ? null : target_s - hold.time_s;
  }

  /** The lines beside the time: who, the target and what is left of it, the reserve; `near` in the last seconds. */
  lines(hold) {
    const bar = this.bar;
    if (bar === null) return { who: "", target: "", reserve: "", near: false };
    const guest = bar.who.guest && bar.step_on.state !== "off";
    const who = guest ? words.panel.guest : bar.who.shown;
    const { target_s, requested } = bar;
    const left_s = this.left_s(hold);
    const pieces = [];
    if (target_s !== null && left_s === null) pieces.push(words.target.target(target_s.toFixed(0)));
    if (left_s !== null)
      pieces.push(left_s > 0 ? words.panel.leftOf(Math.ceil(left_s), target_s.toFixed(0)) : words.target.reached);
    if (requested !== null && left_s === null && !this.paused)
      pieces.push(words.panel.setOf(requested.set_number, requested.sets));
    const used = hold !== null && !hold.ended ? bar.reserve?.used : null;
    return {
      who,
      target: pieces.join("\n"),
      reserve: used ? words.panel.reserve(share(used.value), share(used.low), share(used.high)) : "",
      near: left_s !== null && left_s <= LAST_S,
    };
  }

  /** The rest since the last release, counted on; null when nobody rests. `over` once the requested rest has passed. */
  rest(now_ms = performance.now()) {
    const rest = this.bar?.rest ?? null;
    if (rest === null) return null;
    const since_s = rest.since_s + (now_ms - this.at_ms) / 1000;
    if (since_s > REST_SHOWN_S || since_s < 0) return null;
    return {
      digits: minutes(since_s),
      of: rest.rest_s === null ? "" : minutes(rest.rest_s),
      over: rest.rest_s !== null && since_s >= rest.rest_s,
    };
  }

  /** A name that is offered to whoever stands there: the name, the count, and what to do; null without one. */
  offer() {
    const on = this.bar?.step_on;
    if (!on || !OFFERS.has(on.state)) return null;
    if (on.state === "crowded") return { name: words.panel.crowded, count: "", then: words.panel.crowdedDo };
    const name = on.shown || words.panel.unnamed;
    return {
      name: words.panel.isIt(name),
      count: words.seconds(on.left_s),
      then: words.panel.offerDo(name, on.others),
    };
  }

  /** One line on what comes: how a guest came to be one, a pause, the next set, who is next. */
  next(scene) {
    const bar = this.bar;
    if (bar === null) return "";
    const state = bar.step_on.state;
    if (scene === "standing" && state === "weighing") return words.panel.weighing;
    if (state === "unsure") return scene === "hanging" ? words.panel.unsure : words.panel.unsureDo;
    const lines = [];
    if (state === "guest" && scene === "standing" && bar.who.guest) lines.push(words.panel.guestWhy);
    const requested = bar.requested;
    if (requested !== null && scene !== "hanging" && !this.paused) {
      const { due_in_s } = bar; // from the program: this screen's clock may be wrong
      if (requested.set_number === 1 && due_in_s !== null && due_in_s > REST_SHOWN_S)
        lines.push(words.panel.nextBout(hour(requested.next_at_utc_ms)));
      else
        lines.push(
          words.panel.nextSet(
            requested.title,
            requested.target_s.toFixed(0),
            Math.round(requested.alpha * 100),
            Math.round(requested.alpha_max * 100),
          ),
        );
    }
    if (bar.next_up && scene !== "hanging") lines.push(words.panel.nextUp(bar.next_up));
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
