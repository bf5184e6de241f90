// The last hold and a coach's corrections of it: the measurement stays, every correction can be undone.

import { chip } from "./cues.js";
import { ask, element } from "../lib/frame.js";
import { holdMark } from "../lib/hold-mark.js";
import { fixed, percent } from "../lib/numbers.js";
import { words } from "../lib/words.js";

const NOTE_KEY = "coach-note"; // what is being written outlives a reload

export class LastHold {
  constructor(byId, attempt, peoplePanel) {
    this.byId = byId;
    this.attempt = attempt;
    this.peoplePanel = peoplePanel;
    this.hold = null;
    this.before = null;
    this.undoes = null;
    this.latestRequest = 0;
    peoplePanel.onChange = () => this.draw();
    byId("reason").value = words.coach.reasonGiven;
    const note = byId("note");
    note.value = sessionStorage.getItem(NOTE_KEY) ?? "";
    note.addEventListener("input", () => sessionStorage.setItem(NOTE_KEY, note.value));
    note.addEventListener("keydown", (event) => event.key === "Enter" && this.saveNote());
    byId("note-keep").addEventListener("click", () => this.saveNote());
    byId("split").addEventListener("click", () => this.split());
    byId("join").addEventListener("click", () => this.join());
    byId("discard").addEventListener("click", () => this.correct("discard"));
    byId("undo").addEventListener("click", () => this.undo());
    byId("whose").addEventListener("change", (event) => this.give(event.target.value || null));
  }

  /** Read the newest hold and the one before; a later call overtakes an earlier one. */
  async refresh() {
    const request = ++this.latestRequest;
    const page = await this.attempt(() => ask("/api/holds?limit=2"), { background: true });
    if (page === null || request !== this.latestRequest) return;
    [this.hold, this.before] = [page.holds[0] ?? null, page.holds[1] ?? null];
    this.draw();
  }

  draw() {
    const hold = this.hold;
    this.byId("last").hidden = hold === null;
    this.byId("last-none").hidden = hold !== null;
    if (hold === null) return;
    // A button must not be exchanged under a finger: all is made anew only when something in it has changed.
    const key = JSON.stringify([hold, this.before?.uid, this.peoplePanel.people.map(({ uid, name }) => [uid, name])]);
    if (key === this.drawn) return;
    this.drawn = key;
    const { result } = hold;
    const feet = percent(result.alpha_mean, result.alpha_u);
    const time = this.byId("last-time");
    time.textContent = words.seconds(fixed(result.duration_s, 1));
    time.href = `/hold/${encodeURIComponent(hold.uid)}`;
    this.byId("last-mark").replaceChildren(holdMark(result));
    const share =
      feet === null
        ? words.feetUnknown
        : words.feetShare(feet.about === null ? feet.shown : `${feet.shown} ± ${feet.about}`);
    this.byId("last-said").textContent = words.coach.lastSaid(
      share,
      words.kind[result.kind],
      this.peoplePanel.nameOf(hold.person_uid),
    );
    const named = (text) => element("span", "chips-name", text);
    const kinds = ["passive", "active", "mixed"].map((kind) =>
      chip(words.kind[kind], () => this.correct("retag", { to_kind: kind }), result.kind === kind),
    );
    this.byId("retag").replaceChildren(named(words.coach.retag), ...kinds);
    const endings = Object.entries(words.coach.endings).map(([ending, text]) =>
      chip(text, () => this.end(ending, text), hold.ending === ending),
    );
    this.byId("ending").replaceChildren(named(words.coach.ending), ...endings);
    const whose = this.byId("whose");
    whose.replaceChildren(
      new Option(words.coach.guest, ""),
      ...this.peoplePanel.people.map((one) => new Option(one.name, one.uid)),
    );
    whose.value = hold.person_uid ?? "";
    const at = this.byId("split-at");
    at.max = fixed(result.duration_s, 1).replace(",", ".");
    if (this.cutOf !== hold.uid) at.value = (result.duration_s / 2).toFixed(1);
    this.cutOf = hold.uid;
    this.byId("join").disabled = this.before?.session_uid !== hold.session_uid;
    this.byId("join").title = this.byId("join").disabled ? words.coach.nothingBefore : "";
  }

  async correct(kind, more = {}) {
    const reason = this.byId("reason").value.trim() || words.coach.reasonGiven;
    const made = await this.attempt(() =>
      ask(`/api/holds/${encodeURIComponent(this.hold.uid)}/corrections`, {
        method: "POST",
        body: { kind, reason, ...more },
      }),
    );
    if (made === null) return;
    this.tell(words.coach.done[kind], made.id);
    this.refresh();
  }

  split() {
    const at = this.byId("split-at");
    if (!at.checkValidity() || at.value === "") return this.tell(words.coach.splitWhere);
    return this.correct("split", { at_s: this.hold.result.onset_s + at.valueAsNumber });
  }

  join() {
    if (this.before?.session_uid !== this.hold.session_uid) return this.tell(words.coach.nothingBefore);
    return this.correct("join", { with_uid: this.before.uid });
  }

  async end(key, text) {
    const ending = this.hold.ending === key ? null : key; // a second tap takes it back
    const saved = await this.attempt(() =>
      ask(`/api/holds/${encodeURIComponent(this.hold.uid)}/ending`, { method: "PUT", body: { ending } }),
    );
    if (saved === null) return;
    this.tell(ending === null ? words.coach.undone : words.coach.ended(text));
    this.refresh();
  }

  async give(uid) {
    const saved = await this.attempt(() =>
      ask(`/api/sessions/${encodeURIComponent(this.hold.session_uid)}/person`, {
        method: "PUT",
        body: { person_uid: uid },
      }).then(() => true),
    );
    if (saved !== null) this.tell(words.coach.given(this.peoplePanel.nameOf(uid)));
    this.refresh();
    this.peoplePanel.refreshNext();
  }

  async saveNote() {
    const note = this.byId("note");
    const text = note.value.trim();
    if (text === "" || this.hold === null) return;
    const saved = await this.attempt(() =>
      ask(`/api/holds/${encodeURIComponent(this.hold.uid)}/markers`, { method: "POST", body: { kind: "note", text } }),
    );
    if (saved === null) return; // what was written stays in its field
    note.value = "";
    sessionStorage.removeItem(NOTE_KEY);
    this.tell(words.coach.noteSaved);
  }

  async undo() {
    if (this.undoes === null) return;
    const done = await this.attempt(() => ask(`/api/corrections/${this.undoes}/undo`, { method: "POST" }));
    if (done === null) return;
    this.tell(words.coach.undone);
    this.byId("last-title").focus();
    this.refresh();
  }

  tell(text, undoes = null) {
    this.undoes = undoes;
    this.byId("last-answer").textContent = text;
    this.byId("undo").hidden = undoes === null;
  }
}
