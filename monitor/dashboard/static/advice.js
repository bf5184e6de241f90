// Who is at the bar, what is asked of them, and what is left: one quiet line beside the scene, only where there is coaching.

import { words } from "./words.js";

const EVERY_MS = 1000;
const LAST_S = 10;

export class Advice {
  constructor() {
    this.now = null;
    this.name = null;
    this.uid = null;
    this.offered = false;
  }

  /** Begin to ask, where coaching is served; a screen that may not ask shows nothing. */
  async begin() {
    if (this.offered) return;
    const screens = await read("/api/screens");
    this.offered = screens?.coaching === true;
    if (!this.offered) return;
    await this.look();
    setInterval(() => document.hidden || this.look(), EVERY_MS);
  }

  async look() {
    const now = await read("/api/advice");
    if (now === null) return;
    if (now.person_uid !== this.uid) {
      this.uid = now.person_uid;
      this.name = this.uid === null ? null : ((await read("/api/who"))?.name ?? null);
    }
    this.now = now;
  }

  /** Seconds to the target of a running hold, null without one. */
  left_s(hold) {
    const target_s = this.now?.target_s ?? null;
    return target_s === null || hold === null || hold.ended ? null : target_s - hold.time_s;
  }

  /** The two lines, and whether the end is near; empty without coaching. */
  lines(hold) {
    const now = this.now;
    if (now === null || now.person_uid === null) return { text: "", near: false };
    const first = [this.name, now.target_s === null ? "" : words.asked.target(now.target_s.toFixed(0))].filter(Boolean).join(", ");
    const left_s = this.left_s(hold);
    const used = hold && !hold.ended ? now.reserve?.used : null;
    const second = [
      left_s === null ? "" : left_s > 0 ? words.asked.left(Math.ceil(left_s)) : words.asked.reached,
      used ? words.asked.reserve(share(used.value), share(used.low), share(used.high)) : "",
    ].filter(Boolean).join(", ");
    return { text: [first, second].filter(Boolean).join("\n"), near: left_s !== null && left_s <= LAST_S };
  }
}

function share(value) {
  return Math.round(Math.max(0, Math.min(1, value)) * 100);
}

async function read(path) {
  try {
    const answer = await fetch(path);
    return answer.ok ? await answer.json() : null;
  } catch {
    return null; // the feed says that the program is not reached
  }
}
