// The intake's questions; the draft stays in this tab until it is saved.

import { keepDraft } from "../lib/drafts.js";
import { ask, byId, element, tell, whenOf } from "../lib/frame.js";
import { translateName, translateQuestion, translateSentences, words } from "../lib/words.js";

const text = words.intake;
const CLEARED = "clinician_cleared";

export class Intake {
  constructor(at, uid, questions, changed) {
    this.at = at;
    this.questions = questions;
    this.changed = changed;
    this.form = byId("intake-form");
    this.form.append(...questions.map((question) => field(question)), button());
    this.draft = keepDraft(this.form, `intake ${uid}`);
    this.form.addEventListener("submit", (event) => this.keep(event));
  }

  async read() {
    const [last] = await ask(`${this.at}/intakes`);
    byId("intake").open = last === undefined || this.draft.restored;
    byId("intake-last").textContent =
      last === undefined
        ? text.never
        : text.last(whenOf({ onset_utc_ms: last.at_utc_ms, utc_offset_s: null }, { dateStyle: "medium" }));
    if (this.draft.restored) byId("intake-answer").textContent = text.restored;
    if (last === undefined) return;
    this.follows(last.outcome);
    if (!this.draft.restored) this.fill(last.answers);
  }

  fill(answers) {
    for (const { key, answer } of this.questions) {
      const value = answers[key];
      if (value === undefined || value === null) continue;
      if (key === CLEARED) continue; // an earlier permission does not cover what is answered today
      for (const input of this.form.elements) {
        if (input.name !== key) continue;
        if (answer === "pain") input.value = value;
        else if (answer === "places") input.checked = value.includes(input.value);
        else input.checked = input.value === (answer === "yes_no" ? (value ? "yes" : "no") : value);
      }
    }
  }

  follows(outcome) {
    const clinician =
      outcome.ask_clinician.length > 0 && !outcome.cleared
        ? [text.clinician(outcome.ask_clinician.map(translateName).join(", "))]
        : [];
    const lines = [...clinician, ...outcome.cautions.map(translateSentences), translateSentences(outcome.share_reason)];
    byId("intake-follows").replaceChildren(...lines.map((line) => element("li", "", line)));
  }

  answers() {
    const given = {};
    for (const { key, answer } of this.questions) {
      const inputs = [...this.form.elements].filter(({ name }) => name === key);
      if (answer === "pain") given[key] = inputs[0].value === "" ? null : inputs[0].valueAsNumber;
      else if (answer === "places") given[key] = inputs.filter(({ checked }) => checked).map(({ value }) => value);
      else {
        const chosen = inputs.find(({ checked }) => checked)?.value ?? null;
        given[key] = chosen === null ? null : answer === "yes_no" ? chosen === "yes" : chosen;
      }
    }
    return Object.fromEntries(Object.entries(given).filter(([, value]) => value !== null));
  }

  async keep(event) {
    event.preventDefault();
    const wrong = [...this.form.elements].find((input) => input.name && !input.checkValidity());
    if (wrong) {
      byId("intake-answer").textContent = words.person.painHow;
      return wrong.focus();
    }
    try {
      const saved = await ask(`${this.at}/intakes`, { method: "POST", body: { answers: this.answers() } });
      tell(null);
      this.draft.clear();
      byId("intake-answer").textContent = text.saved;
      this.follows(saved.outcome);
      await this.changed();
    } catch (error) {
      tell(error); // the form and its draft stay
    }
  }
}

function field({ key, text: otherwise, answer, choices }) {
  const box = element("fieldset");
  const legend = element("legend", "", translateQuestion(key, otherwise));
  box.append(legend);
  if (answer === "pain") {
    const input = element("input");
    Object.assign(input, { type: "number", name: key, min: 0, max: 10, step: 1 });
    input.setAttribute("aria-label", legend.textContent);
    box.append(input);
    return box;
  }
  const values = answer === "yes_no" ? ["yes", "no"] : choices;
  const line = element("div", "ticks");
  for (const value of values) {
    const label = element("label", "tick");
    const input = element("input");
    Object.assign(input, { type: answer === "places" ? "checkbox" : "radio", name: key, value });
    label.append(input, ` ${translateName(value)}`);
    line.append(label);
  }
  box.append(line);
  return box;
}

function button() {
  const keep = element("button", "", text.keep);
  keep.type = "submit";
  return keep;
}
