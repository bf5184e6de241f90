// Marks of a moment: a cue given, pain reported. One tap makes a mark, another takes it back.

import { ask, element } from "../lib/frame.js";
import { fixed } from "../lib/numbers.js";
import { words } from "../lib/words.js";

const MOST_MARKS = 40;

export class Cues {
  /** @param onMarks gets the marks of this clock whenever they change */
  constructor(byId, attempt, onMarks) {
    this.attempt = attempt;
    this.onMarks = onMarks;
    this.answer = byId("mark-answer");
    this.box = byId("cues");
    this.painBox = byId("pain");
    this.picture = null;
    this.marks = [];
    const cues = words.coach.cues.map((text) => chip(text, () => this.mark("cue", text)));
    this.box.append(
      ...cues,
      chip(words.coach.pain, () => this.mark("pain", "")),
    );
    const rates = Array.from({ length: 11 }, (_, n) => chip(String(n), () => this.rate(n)));
    this.painBox.append(element("span", "chips-name", words.coach.painHow), ...rates);
  }

  see(picture) {
    if (this.picture !== null && picture.t_s < this.picture.t_s) this.change([]); // another clock
    this.picture = picture;
  }

  /** Mark the moment that the screen shows at the tap, not the one at which the program hears of it. */
  async mark(kind, text, pain = null, at_s = this.picture?.t_s ?? null) {
    const body = { kind, text, at_s, ...(pain === null ? {} : { pain }) };
    const saved = await this.attempt(() => ask("/api/markers", { method: "POST", body }));
    if (saved === null) return null;
    const said = text || (pain === null ? words.coach.pain : words.coach.painSaved(pain));
    const mark = { id: saved.marker.id, t_s: saved.marker.at_s, text: kind === "pain" ? "!" : "·", said, kind };
    this.change([...this.marks, mark].slice(-MOST_MARKS));
    this.tell(
      mark,
      saved.stops.map((stop) => stop.words),
    );
    this.painBox.hidden = kind !== "pain" || pain !== null;
    return mark;
  }

  /** How much it hurts, added after the tap: the mark is replaced by one with the number, at the same instant. */
  async rate(n) {
    const first = [...this.marks].reverse().find((mark) => mark.kind === "pain");
    const rated = await this.mark("pain", "", n, first?.t_s);
    if (rated !== null && first) await this.remove(first, false);
  }

  async remove(mark, aloud = true) {
    const gone = await this.attempt(() => ask(`/api/markers/${mark.id}`, { method: "DELETE" }));
    if (gone === null) return;
    this.change(this.marks.filter((one) => one !== mark));
    if (aloud) this.answer.replaceChildren(words.coach.markedBack(mark.said));
    if (aloud) this.painBox.hidden = true;
  }

  tell(mark, stops) {
    const hold = this.picture?.hold;
    const since_s = hold ? mark.t_s - hold.onset_s : -1;
    const at = since_s >= 0 ? words.seconds(fixed(since_s, 1)) : words.coach.beforeHold;
    this.answer.replaceChildren(
      `${words.coach.marked(mark.said, at)} `,
      chip(words.coach.takeBack, () => this.remove(mark)),
      ...stops.map((text) => element("strong", "", text)),
    );
  }

  change(marks) {
    this.marks = marks;
    this.box.dataset.marks = marks.length;
    this.onMarks(marks);
  }
}

export function chip(text, onTap, pressed = null) {
  const button = element("button", "chip", text);
  button.type = "button";
  if (pressed !== null) button.setAttribute("aria-pressed", String(pressed));
  button.addEventListener("click", onTap);
  return button;
}
