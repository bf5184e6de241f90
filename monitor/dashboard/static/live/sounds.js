// A few low, wooden sounds, each for something that the screen shows too. All silent until switched on.

import { words } from "../lib/words.js";

const KEY = "sounds";
const TONES = { start: [196], band: [147, 131], last: [262], target: [196, 247, 294] }; // Hz, one knock each
const KNOCK_S = 0.16;
const NEAR_S = 10;

export class Sounds {
  constructor(list) {
    this.on = new Set(stored());
    this.audio = null;
    for (const name of Object.keys(TONES)) list.append(this.row(name));
  }

  row(name) {
    const label = document.createElement("label");
    const box = document.createElement("input");
    box.type = "checkbox";
    box.checked = this.on.has(name);
    box.addEventListener("change", () => {
      if (box.checked) this.on.add(name);
      else this.on.delete(name);
      try {
        localStorage.setItem(KEY, JSON.stringify([...this.on]));
      } catch {
        // Without storage the choice lasts until the page is loaded again.
      }
      if (box.checked) this.play(name); // heard at once, and the browser lets sound begin at a touch
    });
    label.append(box, ` ${words.sounds[name]}`);
    return label;
  }

  /** Follow the scene: sound what has changed since the last picture. */
  follow({ hanging, onset_s, sure, out, left_s, silent = false }) {
    const before = this.before ?? {};
    const same = hanging && before.onset_s === onset_s;
    this.before = { onset_s: hanging ? onset_s : null, sure, out, left_s };
    if (!hanging || silent || this.begun === undefined) {
      this.begun = true; // the first picture of a page is no change
      return;
    }
    if (sure && !(same && before.sure)) this.play("start");
    if (!same) return;
    if (out && before.out === false) this.play("band");
    const passed = (limit_s) =>
      left_s !== null && before.left_s != null && before.left_s > limit_s && left_s <= limit_s;
    if (passed(0)) this.play("target");
    else if (passed(NEAR_S)) this.play("last");
  }

  play(name) {
    if (!this.on.has(name)) return;
    this.audio ??= new AudioContext();
    this.audio.resume().catch(() => {});
    TONES[name].forEach((hertz, i) => this.knock(hertz, this.audio.currentTime + i * KNOCK_S));
  }

  /** One knock on wood: a low tone with one bright partial, both gone in a moment. */
  knock(hertz, at_s) {
    for (const [ratio, loud, decay_s] of [
      [1, 0.5, 0.14],
      [2.76, 0.16, 0.05],
    ]) {
      const tone = this.audio.createOscillator();
      const gain = this.audio.createGain();
      tone.frequency.value = hertz * ratio;
      gain.gain.setValueAtTime(loud, at_s);
      gain.gain.exponentialRampToValueAtTime(0.001, at_s + decay_s);
      tone.connect(gain).connect(this.audio.destination);
      tone.start(at_s);
      tone.stop(at_s + decay_s + 0.02);
    }
  }
}

function stored() {
  try {
    const chosen = JSON.parse(localStorage.getItem(KEY) ?? "[]");
    return Array.isArray(chosen) ? chosen.filter((name) => name in TONES) : [];
  } catch {
    return [];
  }
}
