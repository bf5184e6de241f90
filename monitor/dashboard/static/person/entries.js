// What is entered by hand: pain, and hangs away from the rig.

import { keepDraft } from "../lib/drafts.js";
import { ask, byId, element, tell, whenOf } from "../lib/frame.js";
import { fixed } from "../lib/numbers.js";
import { translateName, translateSentences, words } from "../lib/words.js";

const text = words.person;
const MOST_LINES = 8;

export class Entries {
  constructor(at, uid, questions, changed) {
    this.at = at;
    this.changed = changed;
    byId("place").add(new Option(text.nowhere, ""));
    for (const place of questions.find(({ answer }) => answer === "places")?.choices ?? [])
      byId("place").add(new Option(translateName(place), place));
    for (const symptom of ["numbness", "dizziness"]) {
      const label = element("label", "tick");
      const box = element("input");
      Object.assign(box, { type: "checkbox", name: "symptoms", value: symptom });
      label.append(box, ` ${translateName(symptom)}`);
      byId("symptoms").append(label);
    }
    byId("hand-kind").add(new Option(text.nowhere, ""));
    for (const [value, name] of Object.entries(words.kind)) byId("hand-kind").add(new Option(name, value));
    this.painDraft = keepDraft(byId("pain-form"), `pain ${uid}`);
    this.handDraft = keepDraft(byId("hand-form"), `hang ${uid}`);
    byId("pain-form").addEventListener("submit", (event) => this.keepPain(event));
    byId("hand-form").addEventListener("submit", (event) => this.keepHang(event));
  }

  async show() {
    const [pains, hangs] = await Promise.all([ask(`${this.at}/pains`), ask(`${this.at}/hangs`)]);
    const when = (at_utc_ms) => whenOf({ onset_utc_ms: at_utc_ms, utc_offset_s: null });
    const lines = pains
      .slice(-MOST_LINES)
      .reverse()
      .map(({ at_utc_ms, pain, place, symptoms, note }) =>
        element(
          "li",
          "",
          [
            text.painAt(when(at_utc_ms), pain, place ? translateName(place) : null),
            symptoms.map(translateName).join(", "),
            note,
          ]
            .filter(Boolean)
            .join(": "),
        ),
      );
    byId("pains").replaceChildren(...(lines.length > 0 ? lines : [element("li", "quiet", text.painNone)]));
    byId("hands").replaceChildren(
      ...hangs
        .slice(-MOST_LINES)
        .reverse()
        .map(({ id, at_utc_ms, duration_s, kind, note }) => {
          const line = element("li");
          const button = element("button", "", text.handTake);
          button.type = "button";
          button.setAttribute("aria-label", text.handTakeOf(when(at_utc_ms)));
          button.addEventListener("click", () => this.takeBack(id));
          line.append(
            element(
              "span",
              "",
              [`${when(at_utc_ms)}: ${fixed(duration_s, 0)} s`, words.kind[kind], note].filter(Boolean).join(", "),
            ),
            button,
          );
          return line;
        }),
    );
  }

  async keepPain(event) {
    event.preventDefault();
    const pain = byId("pain");
    if (!pain.checkValidity()) {
      byId("pain-answer").textContent = text.painHow;
      return pain.focus();
    }
    // @ts-expect-error not typed yet
    const symptoms = [...document.querySelectorAll("#symptoms input:checked")].map(({ value }) => value);
    try {
      const { stops } = await ask(`${this.at}/pains`, {
        method: "POST",
        body: { pain: pain.valueAsNumber, place: byId("place").value || null, symptoms, note: byId("note").value },
      });
      tell(null);
      byId("pain-answer").textContent = [text.painSaved, ...stops.map((stop) => translateSentences(stop.words))].join(
        " ",
      );
      event.target.reset();
      this.painDraft.clear();
      await this.changed();
    } catch (error) {
      tell(error); // the form stays filled in
    }
  }

  async keepHang(event) {
    event.preventDefault();
    const time = byId("hand-time");
    if (!time.checkValidity()) {
      byId("hand-answer").textContent = text.handBad;
      return time.focus();
    }
    const when = byId("hand-when").value;
    try {
      await ask(`${this.at}/hangs`, {
        method: "POST",
        body: {
          duration_s: time.valueAsNumber,
          at_utc_ms: when ? new Date(when).getTime() : null,
          kind: byId("hand-kind").value || null,
          note: byId("hand-note").value,
        },
      });
      tell(null);
      byId("hand-answer").textContent = text.painSaved;
      event.target.reset();
      this.handDraft.clear();
      await this.changed();
    } catch (error) {
      tell(error);
    }
  }

  async takeBack(id) {
    try {
      await ask(`${this.at}/hangs/${id}`, { method: "DELETE" });
      tell(null);
      await this.changed();
    } catch (error) {
      tell(error);
    }
  }
}
