// A person's own kappa: one deliberate swing whose angle somebody has measured: computed, then accepted or discarded.

import { ask, byId, element, tell, whenOf } from "../lib/frame.js";
import { fixed } from "../lib/numbers.js";
import { words } from "../lib/words.js";

const text = words.pendulum;
const LEAST_DEG = 4; // a smaller swing tells no kappa
const HOLDS_LOOKED_AT = 50;

export class OwnSwing {
  constructor(at, uid) {
    this.at = `${at}/swing-calibrations`;
    this.uid = uid;
    this.holds = [];
    this.given = null;
    const form = byId("swing-form");
    byId("swing").addEventListener("toggle", () => byId("swing").open && this.read().catch(tell));
    byId("swing-hold").addEventListener("change", () => this.choose());
    form.addEventListener("input", () => this.offer(null));
    form.addEventListener("submit", (event) => this.doing(event, () => this.compute()));
    byId("swing-accept").addEventListener("click", (event) => this.doing(event, () => this.accept()));
    byId("swing-forget").addEventListener("click", () => {
      this.offer(null);
      byId("swing-answer").textContent = text.forgotten;
    });
  }

  async read() {
    const [pendulum, { holds }] = await Promise.all([
      ask(this.at),
      ask(`/api/holds?person_uid=${encodeURIComponent(this.uid)}&limit=${HOLDS_LOOKED_AT}`),
    ]);
    this.show(pendulum);
    this.holds = holds.filter(({ result }) => (result.swing?.max_deg ?? 0) >= LEAST_DEG && highest(result) !== null);
    byId("swing-hold").replaceChildren(
      ...this.holds.map((hold) => new Option(text.ofHold(whenOf(hold), fixed(hold.result.swing.max_deg, 1)), hold.uid)),
    );
    byId("swing-form").hidden = this.holds.length === 0;
    byId("swing-none").hidden = this.holds.length > 0;
    this.choose();
  }

  /** The instant of the widest swing is the likeliest to have been measured. */
  choose() {
    const hold = this.holds.find(({ uid }) => uid === byId("swing-hold").value);
    if (hold !== undefined) byId("swing-after").value = (highest(hold.result) - hold.result.onset_s).toFixed(1);
  }

  show({ kappa, kappa_u, swings }) {
    byId("swing-now").textContent = text.now(fixed(kappa, 3), fixed(kappa_u, 3), swings.length);
    byId("swings").replaceChildren(
      ...swings.map((one) => {
        const when = whenOf({ onset_utc_ms: one.at_utc_ms, utc_offset_s: null });
        const line = element("li");
        const button = element("button", "", text.takeBack);
        button.type = "button";
        button.setAttribute("aria-label", text.takeBackOf(when));
        button.addEventListener("click", (event) => this.doing(event, () => this.takeBack(one.id)));
        line.append(element("span", "", `${when}: ${summary(one)}`), button);
        return line;
      }),
    );
  }

  /** The computed result waits here until somebody accepts or forgets it; null for nothing. */
  offer(given) {
    this.given = given;
    byId("swing-buttons").hidden = given === null;
    if (given === null) byId("swing-answer").textContent = "";
  }

  async compute() {
    const form = byId("swing-form");
    const number = (name) => (form.elements[name].value === "" ? null : form.elements[name].valueAsNumber);
    const given = {
      hold_uid: form.elements.hold.value,
      after_s: number("after_s"),
      degrees: number("degrees"),
      reach_m: number("reach_m"),
      length_m: number("length_m"),
    };
    const measured = given.degrees !== null || (given.reach_m !== null && given.length_m !== null);
    if (given.after_s === null || !measured || !form.checkValidity()) {
      byId("swing-answer").textContent = text.bad;
      return;
    }
    const tried = await ask(`${this.at}/try`, { method: "POST", body: given });
    this.offer(given);
    byId("swing-answer").textContent = summary(tried);
    byId("swing-accept").focus();
  }

  async accept() {
    this.show(await ask(this.at, { method: "POST", body: this.given }));
    this.offer(null);
    for (const name of ["degrees", "reach_m", "length_m"]) byId("swing-form").elements[name].value = "";
    byId("swing-answer").textContent = text.saved;
  }

  async takeBack(id) {
    await ask(`${this.at}/${id}`, { method: "DELETE" });
    this.show(await ask(this.at));
  }

  async doing(event, work) {
    event.preventDefault();
    try {
      tell(null);
      await work();
    } catch (error) {
      tell(error); // the form stays filled in
    }
  }
}

function summary({ told_deg, measured_deg, u_measured_deg, kappa, kappa_u }) {
  return text.summary(
    fixed(told_deg, 1),
    fixed(measured_deg, 1),
    fixed(u_measured_deg, 1),
    fixed(kappa, 2),
    fixed(kappa_u, 2),
  );
}

/** When a hold's swing was widest, on the rig's clock; null where its course is not known. */
function highest({ swing }) {
  const rows = swing.course.filter(([, degrees]) => degrees !== null);
  return rows.length === 0 ? null : rows.reduce((best, row) => (row[1] > best[1] ? row : best))[0];
}
