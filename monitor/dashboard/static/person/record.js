// The record itself: name, stature, unit, time zone, consent; report, export and archive as jobs; erasing, by a typed name.

import { keepDraft } from "../lib/drafts.js";
import { ask, byId, tell } from "../lib/frame.js";
import { JobLines, offerFormats } from "../lib/jobs.js";
import { UNITS } from "../lib/units.js";
import { words } from "../lib/words.js";

const text = words.record;
const MOST_HOLDS = 2000;
const PAGE = 200;

export class PersonRecord {
  constructor(at, person, { offers, owner, renamed }) {
    this.at = at;
    this.person = person;
    this.renamed = renamed;
    const form = byId("record-form");
    for (const unit of UNITS) byId("record-units").add(new Option(words.prefs.unitNames[unit], unit));
    for (const zone of Intl.supportedValuesOf?.("timeZone") ?? []) byId("zones").append(new Option(zone, zone));
    this.fill(person);
    this.draft = keepDraft(form, `record ${person.uid}`);
    if (this.draft.restored) {
      byId("record").open = true;
      byId("record-answer").textContent = words.intake.restored;
    }
    form.addEventListener("submit", (event) => this.keep(event));
    if (offers.jobs) this.offerOutput();
    byId("leaving").hidden = !(offers.jobs && owner);
    byId("leaving-not").hidden = offers.jobs && owner;
    byId("leaving-not").textContent = text.ownerOnly;
    if (offers.jobs && owner) this.offerLeaving();
  }

  fill(person) {
    const { elements } = byId("record-form");
    for (const name of ["name", "units", "time_zone", "notes"]) elements[name].value = person[name];
    elements.stature_cm.value = person.stature_m === null ? "" : Math.round(person.stature_m * 1000) / 10;
    elements.consent_on.value = person.consent_on ?? "";
  }

  async keep(event) {
    event.preventDefault();
    const { elements } = event.target;
    const wrong = [...elements].find((field) => field.name && !field.checkValidity());
    if (wrong) {
      byId("record-answer").textContent = text.bad;
      return wrong.focus();
    }
    const stature_cm = elements.stature_cm.valueAsNumber;
    const body = {
      name: elements.name.value,
      stature_m: Number.isNaN(stature_cm) ? null : stature_cm / 100,
      notes: elements.notes.value,
      consent_on: elements.consent_on.value || null,
      units: elements.units.value,
      time_zone: elements.time_zone.value,
    };
    try {
      this.person = await ask(this.at, { method: "PUT", body });
      tell(null);
      this.draft.clear();
      byId("record-answer").textContent = words.setSaved;
      this.renamed(this.person);
    } catch (error) {
      tell(error); // the form and its draft stay
    }
  }

  offerOutput() {
    byId("output").hidden = false;
    offerFormats(byId("export-form")).catch(tell);
    const own = ({ kind, subject }) => (kind === "report" && subject === this.person.uid) || kind === "export";
    const jobs = new JobLines(byId("output-jobs"), own);
    jobs.read().catch(tell);
    byId("output-form").addEventListener("submit", (event) => {
      event.preventDefault();
      const { first, last } = event.target.elements;
      this.begin(jobs, "report", { person_uid: this.person.uid, first: first.value || null, last: last.value || null });
    });
    byId("export").addEventListener("click", async () => {
      try {
        const uids = await this.holds();
        byId("output-answer").textContent =
          uids.length === 0 ? words.output.noHolds : uids.length === MOST_HOLDS ? words.output.most(MOST_HOLDS) : "";
        if (uids.length > 0) await this.begin(jobs, "export", { uids, form: byId("export-form").value });
      } catch (error) {
        tell(error);
      }
    });
  }

  /** The newest holds of this person, as many as one export takes. */
  async holds() {
    const uids = [];
    for (let offset = 0; offset < MOST_HOLDS; offset += PAGE) {
      const { holds, total } = await ask(
        `/api/holds?person_uid=${encodeURIComponent(this.person.uid)}&limit=${PAGE}&offset=${offset}`,
      );
      uids.push(...holds.map(({ uid }) => uid));
      if (offset + PAGE >= total) break;
    }
    return uids;
  }

  offerLeaving() {
    const own = ({ kind, subject }) => ["archive", "erase"].includes(kind) && subject === this.person.uid;
    const jobs = new JobLines(byId("leaving-jobs"), own, ({ kind, state }) => {
      if (kind === "erase" && state === "done") byId("erase-answer").textContent = text.erased;
    });
    jobs.read().catch(tell);
    byId("archive").addEventListener("click", () => this.begin(jobs, "archive", { person_uid: this.person.uid }));
    byId("erase-form").addEventListener("submit", (event) => {
      event.preventDefault();
      const typed = byId("erase-name");
      if (typed.value.trim() !== this.person.name.trim()) {
        byId("erase-answer").textContent = text.eraseDiffers;
        return typed.focus();
      }
      this.begin(jobs, "erase", { person_uid: this.person.uid, name: typed.value });
    });
  }

  async begin(jobs, kind, options) {
    try {
      await jobs.start(kind, options);
      tell(null);
    } catch (error) {
      tell(error);
    }
  }
}
