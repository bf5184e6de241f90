// What a coach sets: the help allowed from the feet, and a given bodyweight. Kilograms only here, newtons beyond.

import { words } from "./words.js";

export class SettingsForm {
  constructor(byId, gravity_m_s2) {
    this.byId = byId;
    this.gravity_m_s2 = gravity_m_s2;
    this.shown = null;
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
    this.byId("set-weight").value = settings.bodyweight_N === null ? "" : (settings.bodyweight_N / this.gravity_m_s2).toFixed(1);
  }

  async save() {
    const answer = this.byId("set-answer");
    const alpha = this.byId("set-alpha");
    const weight = this.byId("set-weight");
    if (!alpha.checkValidity() || !weight.checkValidity()) {
      answer.textContent = words.setBad;
      return;
    }
    const wish = {
      alpha_max: alpha.valueAsNumber / 100,
      bodyweight_N: weight.value === "" ? null : weight.valueAsNumber * this.gravity_m_s2,
    };
    try {
      const reply = await fetch("/api/settings", {
        method: "PUT",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(wish),
      });
      const body = await reply.json();
      answer.textContent = reply.ok ? words.setSaved : `${body.error.what} ${body.error.do}`;
    } catch {
      answer.textContent = words.setFailed;
    }
  }
}
