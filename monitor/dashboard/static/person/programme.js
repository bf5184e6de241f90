// A person's programme: a template is chosen, its numbers are edited, it or one item of it pauses for a while.

import { keepDraft } from "../lib/drafts.js";
import { ask, byId, element, tell } from "../lib/frame.js";
import { translateTitle, words } from "../lib/words.js";

const text = words.plan;
const FIELDS = { start_s: [1, 3600], goal_s: [1, 3600], step_s: [1, 3600], sets: [1, 50], rest_s: [0, 7200] };
const DAY_FIELDS = { minutes: [0.5, 240], days: [1, 1000] };

export class Plan {
  /** @param at the person's address in REST  @param changed called when the programme has changed */
  constructor(at, changed) {
    this.at = at;
    this.changed = changed;
    this.programme = null;
    this.numbersDraft = keepDraft(byId("plan-form"), `plan ${at}`);
    this.pauseDraft = keepDraft(byId("pause-form"), `pause ${at}`);
    if (this.numbersDraft.restored || this.pauseDraft.restored) {
      byId("plan").open = true;
      byId("plan-answer").textContent = words.intake.restored;
    }
    byId("template-form").addEventListener("submit", (event) => this.choose(event));
    byId("plan-form").addEventListener("submit", (event) => this.keep(event));
    byId("pause-form").addEventListener("submit", (event) => this.pause(event));
  }

  async read() {
    this.templates = await ask("/api/programmes");
    for (const { name, title } of this.templates) byId("template").add(new Option(translateTitle(title), name));
  }

  /** Show a programme, with what somebody has changed in it and not yet sent. */
  show(content) {
    const key = JSON.stringify(content);
    if (this.shown === key) return;
    this.shown = key;
    this.programme = structuredClone(content);
    byId("plan-name").textContent = translateTitle(content.name);
    byId("plan-about").textContent = translateTitle(content.about);
    const known = this.templates.find(({ content: of }) => of.name === content.name);
    if (known) byId("template").value = known.name;
    byId("plan-items").replaceChildren(
      ...content.item.map((item) => {
        const box = element("fieldset");
        box.append(element("legend", "", translateTitle(item.title)), row(FIELDS, item, `item-${item.key}`));
        return box;
      }),
    );
    byId("plan-day").replaceChildren(...row(DAY_FIELDS, content.day, "day").childNodes);
    byId("pause-item").replaceChildren(
      new Option(text.everything, ""),
      ...content.item.map(({ key: name, title }) => new Option(translateTitle(title), name)),
    );
    this.numbersDraft.putBack();
    this.pauseDraft.putBack();
    this.showPauses(content.pause ?? []);
  }

  showPauses(pauses) {
    byId("pauses").replaceChildren(
      ...pauses.map(({ first, last, item, reason }) => {
        const title = this.programme.item.find(({ key }) => key === item)?.title;
        const what = title ? translateTitle(title) : text.everything;
        const line = element("li");
        const button = element("button", "", text.resume);
        button.type = "button";
        button.addEventListener("click", () => this.send("POST", "/programme/resume", { item: item || null }));
        line.append(element("span", "", text.pauseOf(what, first, last || null, reason || "")), button);
        return line;
      }),
    );
  }

  async choose(event) {
    event.preventDefault();
    const { content } = this.templates.find(({ name }) => name === byId("template").value);
    await this.send("PUT", "/programme", content, this.numbersDraft);
  }

  async keep(event) {
    event.preventDefault();
    const wrong = [...event.target.elements].find((field) => field.name && !field.checkValidity());
    if (wrong) {
      byId("plan-answer").textContent = text.bad(wrong.min, wrong.max);
      return wrong.focus();
    }
    const content = structuredClone(this.programme);
    for (const field of event.target.elements) {
      const [, key, name] = /^(?:item-(.*)|day)\.(.*)$/.exec(field.name) ?? [];
      if (key) content.item.find((item) => item.key === key)[name] = field.valueAsNumber;
      else if (name) content.day[name] = field.valueAsNumber;
    }
    await this.send("PUT", "/programme", content, this.numbersDraft);
  }

  async pause(event) {
    event.preventDefault();
    const done = await this.send(
      "POST",
      "/programme/pauses",
      {
        item: byId("pause-item").value || null,
        last: byId("pause-last").value || null,
        reason: byId("pause-why").value,
      },
      this.pauseDraft,
    );
    if (done) event.target.reset();
  }

  async send(method, path, body, draft = null) {
    try {
      const { content } = await ask(this.at + path, { method, body });
      tell(null);
      draft?.clear();
      byId("plan-answer").textContent = text.saved;
      this.show(content);
      await this.changed();
      return true;
    } catch (error) {
      tell(error); // the form stays filled in
      return false;
    }
  }
}

function row(fields, values, prefix) {
  const line = element("div", "form-row");
  for (const [name, [min, max]] of Object.entries(fields)) {
    const label = element("label");
    const input = element("input");
    Object.assign(input, {
      type: "number",
      name: `${prefix}.${name}`,
      min,
      max,
      step: "any",
      required: true,
      value: values[name],
    });
    label.append(element("span", "", text.fields[name]), " ", input);
    line.append(label);
  }
  return line;
}
