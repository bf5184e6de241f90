// The settings: first what belongs to this screen alone, then what belongs to the machine (maintenance.js).

import { ask, byId, frame, tell } from "../lib/frame.js";
import { showMaintenance } from "./maintenance.js";
import { Sounds } from "../live/sounds.js";
import { UNITS, chooseUnit, screenUnit } from "../lib/units.js";
import { language, languageNames, words } from "../lib/words.js";

const text = words.prefs;

offerLanguages();
offerUnits();
new Sounds(byId("sound-list"));
start();

async function start() {
  if ((await frame("/settings")) === null) return;
  try {
    const offers = await ask("/api/screens");
    const principal = offers.authorization
      ? await ask("/api/principal")
      : { role: "owner", name: null, passcodes: false };
    if (offers.maintenance && principal.role !== "wall") await showMaintenance(offers, principal);
    else {
      byId("maintenance-none").textContent = offers.maintenance ? text.maintenanceWall : text.maintenanceNone;
      byId("maintenance-none").hidden = false;
    }
    document.body.dataset.ready = "yes";
  } catch (error) {
    tell(error);
  }
}

function offerLanguages() {
  const choice = byId("language");
  for (const [code, name] of Object.entries(languageNames)) {
    const option = new Option(name, code);
    option.lang = code;
    choice.add(option);
  }
  choice.value = language;
  choice.addEventListener("change", () => {
    try {
      localStorage.setItem("language", choice.value);
    } catch {
      // Without storage the browser's own language stays.
    }
    location.reload();
  });
}

function offerUnits() {
  const choice = byId("unit");
  choice.add(new Option(text.unitOpen, ""));
  for (const unit of UNITS) choice.add(new Option(text.unitNames[unit], unit));
  choice.value = screenUnit() ?? "";
  choice.addEventListener("change", () => chooseUnit(choice.value === "" ? null : choice.value));
}
