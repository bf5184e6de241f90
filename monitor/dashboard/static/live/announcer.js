// What screen readers hear: changes that last, and nothing that runs.

import { words } from "../lib/words.js";

const SETTLE_MS = 1200;

export class Announcer {
  constructor(region) {
    this.region = region;
    this.said = "";
    this.wasOld = false;
  }

  /** Tell a scene once it has lasted; `result` is added when there is one. */
  scene(scene, result) {
    const text = [words.scene[scene], result].filter(Boolean).join(", ");
    if (text === this.coming) return;
    this.coming = text;
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.say(text), SETTLE_MS);
  }

  old(isOld) {
    if (isOld && !this.wasOld) this.say(words.oldDo.closed);
    this.wasOld = isOld;
  }

  say(text) {
    if (this.said === text) return;
    this.said = text;
    this.region.textContent = text;
  }
}
