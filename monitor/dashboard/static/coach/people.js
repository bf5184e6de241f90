// Who hangs, who comes today, and the next set of whoever is named.

import { chip } from "./cues.js";
import { ask, element } from "../lib/frame.js";
import { fixed } from "../lib/numbers.js";
import { translateSentences, words } from "../lib/words.js";

export class PeoplePanel {
  constructor(byId, attempt) {
    this.byId = byId;
    this.attempt = attempt;
    this.people = [];
    this.queue = [];
    this.uid = null;
    this.latestRequest = 0;
    this.onChange = () => {};
    const called = byId("called");
    for (const [value, text] of Object.entries(words.coach.calledBy)) called.add(new Option(text, value));
    called.addEventListener("change", () =>
      this.attempt(() => ask(`/api/people/${this.uid}/called`, { method: "PUT", body: { shown: called.value } })),
    );
  }

  nameOf(uid) {
    return uid === null ? words.coach.guest : (this.people.find((one) => one.uid === uid)?.name ?? words.unknown);
  }

  /** Read people, queue and who is named anew; a later call overtakes an earlier one. */
  async refresh() {
    const request = ++this.latestRequest;
    const read = await this.attempt(() => Promise.all([ask("/api/people"), ask("/api/queue"), ask("/api/who")]), {
      background: true,
    });
    if (read === null || request !== this.latestRequest) return;
    const [people, queue, who] = read;
    this.people = people;
    this.queue = queue.people;
    this.uid = who.person_uid;
    this.draw();
    this.onChange();
    this.refreshNext();
  }

  draw() {
    const none = this.byId("people-none");
    none.hidden = this.people.length > 0;
    none.textContent = words.coach.nobodySaved;
    const place = (uid) => (this.queue.includes(uid) ? this.queue.indexOf(uid) : this.queue.length);
    const ordered = [...this.people].sort((a, b) => place(a.uid) - place(b.uid));
    // A button must not be exchanged under a finger: the list is made anew only when something in it has changed.
    const key = JSON.stringify([ordered.map(({ uid, name }) => [uid, name]), this.queue, this.uid]);
    if (key === this.drawn) return;
    this.drawn = key;
    const active = document.activeElement;
    const focused = active instanceof HTMLElement ? active.dataset.key : undefined;
    this.byId("names").replaceChildren(this.row(null), ...ordered.map((one) => this.row(one)));
    if (focused)
      this.byId("names")
        .querySelector(`[data-key="${CSS.escape(focused)}"]`)
        ?.focus();
    this.drawCalled();
  }

  async drawCalled() {
    const box = this.byId("called-box");
    box.hidden = this.uid === null;
    const uid = this.uid;
    if (uid === null) return;
    const form = await this.attempt(() => ask(`/api/people/${uid}/called`), { background: true });
    if (form !== null && uid === this.uid) this.byId("called").value = form.shown;
  }

  row(person) {
    const uid = person?.uid ?? null;
    const item = element("li");
    const name = chip(person?.name ?? words.coach.guest, () => this.name(uid), this.uid === uid);
    name.dataset.key = `name-${uid}`;
    item.append(name);
    if (person === null) return item;
    const label = element("label", "today");
    const box = element("input");
    box.type = "checkbox";
    box.checked = this.queue.includes(uid);
    box.dataset.key = `today-${uid}`;
    box.setAttribute("aria-label", words.coach.todayOf(person.name));
    box.addEventListener("change", () => this.enqueue(uid, box.checked));
    label.append(box, ` ${words.coach.today}`);
    item.append(label);
    return item;
  }

  async name(uid, item = null) {
    const done = await this.attempt(() => ask("/api/who", { method: "PUT", body: { person_uid: uid, item } }));
    if (done !== null) this.refresh();
  }

  async enqueue(uid, comes) {
    const people = comes ? [...this.queue, uid] : this.queue.filter((one) => one !== uid);
    await this.attempt(() => ask("/api/queue", { method: "PUT", body: { people } }));
    this.refresh();
  }

  /** What is prescribed to whoever is named: every item can be made the next one. */
  async refreshNext() {
    const uid = this.uid;
    const reason = this.byId("next-reason");
    if (uid === null) {
      reason.textContent = words.coach.nextGuest;
      this.itemsDrawn = null;
      this.byId("items").replaceChildren();
      this.byId("cautions").replaceChildren();
      return;
    }
    if (this.shownFor !== uid) reason.textContent = words.coach.nextWait;
    const [day, now] = (await this.attempt(
      () => Promise.all([ask(`/api/people/${encodeURIComponent(uid)}/prescription`), ask("/api/advice")]),
      { background: true },
    )) ?? [null];
    if (day === null || uid !== this.uid) return;
    this.shownFor = uid;
    reason.textContent = translateSentences(day.reason);
    const next = now.item ?? day.next;
    const key = JSON.stringify([uid, next, day.items, day.cautions]);
    if (key === this.itemsDrawn) return;
    this.itemsDrawn = key;
    this.byId("items").replaceChildren(...day.items.map((one) => this.item(one, next)));
    this.byId("cautions").replaceChildren(...day.cautions.map((text) => element("li", "", translateSentences(text))));
  }

  item(one, next) {
    const text = words.coach.itemOf(
      one.title,
      fixed(one.target_s, 0),
      words.person.help(one.alpha, one.alpha_max),
      fixed(one.rest_s, 0),
    );
    const row = element("li");
    const button = chip(text, () => this.name(this.uid, one.key), one.key === next);
    row.append(button);
    if (one.paused) row.append(element("span", "hint", one.paused));
    return row;
  }
}
