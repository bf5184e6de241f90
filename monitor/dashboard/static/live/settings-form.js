// What a coach sets: the help allowed from the feet, and a given bodyweight. Kilograms or pounds only here, newtons beyond.

import { weightScale } from "../lib/units.js";
import { words } from "../lib/words.js";

const LEAST_KG = 10;
const MOST_KG = 400;

export class SettingsForm {
  constructor(byId) {
    this.byId = byId;
    this.shown = null;
    const { kilograms, name } = weightScale();
    Object.assign(byId("set-weight"), { min: Math.ceil(LEAST_KG / kilograms), max: Math.floor(MOST_KG / kilograms) });
    byId("set-weight-unit").textContent = name;
    byId("settings-form").addEventListener("submit", (event) => {
      event.preventDefault();
      this.save();
    });
  }

  /** Show what is in force, unless somebody is writing. */
  show(settings) {
    const key = JSON.stringify(settings);
    if (this.shown === key || this.byId("settings").open) return;
    this.shown = key;
    this.byId("set-alpha").value = String(Math.round(settings.alpha_max * 1000) / 10);
    this.byId("set-weight").value =
      settings.bodyweight_N === null ? "" : (settings.bodyweight_N / weightScale().newtons).toFixed(1);
  }

  async save() {
    const answer = this.byId("set-answer");
    const alpha = this.byId("set-alpha");
    const weight = this.byId("set-weight");
    if (!alpha.checkValidity() || !weight.checkValidity()) {
      answer.textContent = words.setBad(weight.min, weight.max, weightScale().name);
      return;
    }
    const given = {
      alpha_max: alpha.valueAsNumber / 100,
      bodyweight_N: weight.value === "" ? null : weight.valueAsNumber * weightScale().newtons,
    };
    try {
      const reply = await fetch("/api/settings", {
        method: "PUT",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(given),
      });
      const body = await reply.json();
      answer.textContent = reply.ok ? words.setSaved : `${body.error.what} ${body.error.do}`;
    } catch {
      answer.textContent = words.setFailed;
    }
  }
}
