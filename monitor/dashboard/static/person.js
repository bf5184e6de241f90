// One person: what comes next and why, the month, endurance, bests, pain.

import { Calendar } from "./calendar.js";
import { EnduranceCurve } from "./endurance.js";
import { ask, byId, element, frame, tell, whenOf } from "./frame.js";
import { fixed, percent } from "./numbers.js";
import { locale, words } from "./words.js";

const text = words.person;
const uid = decodeURIComponent(location.pathname.split("/").pop());
const at = `/api/people/${encodeURIComponent(uid)}`;
const calendar = new Calendar(byId("calendar"));
const curve = new EnduranceCurve(byId("endurance"));
const state = { month: null, programme: null, today: null };

start();

async function start() {
  if ((await frame("/people")) === null) return;
  try {
    const { coaching } = await ask("/api/screens");
    if (!coaching) {
      byId("name").textContent = words.people.noCoaching;
      return;
    }
    const person = await ask(at);
    document.title = byId("name").textContent = person.name;
    byId("csv").href = `/api/holds.csv?person_uid=${encodeURIComponent(uid)}`;
    byId("holds").href = `/holds?who=${encodeURIComponent(uid)}`;
    byId("all").hidden = false;
    await offerPain();
    await refresh();
    document.body.dataset.ready = "yes";
  } catch (error) {
    tell(error);
  }
}

async function refresh() {
  const [programme, prescription, ledger, stops, all] = await Promise.all(["/programme", "/prescription", "/days", "/stops", "/progress"].map((path) => ask(at + path)));
  Object.assign(state, { programme: programme.content, today: ledger.today.day, month: state.month ?? ledger.today.day.slice(0, 7) });
  showToday(prescription, ledger, stops);
  showBests(all);
  await Promise.all([showMonth(), showEndurance(all), showPains()]);
}

function showToday(prescription, ledger, stops) {
  const next = prescription.items.find(({ key }) => key === prescription.next);
  byId("next").textContent = next ? `${text.next}: ${next.title}, ${text.target(fixed(next.target_s, 0))}, ${text.help(next.alpha, next.alpha_max)}` : text.nothing;
  const left = ledger.minutes_left > 0 ? text.left(fixed(ledger.minutes_left, 1)) : "";
  byId("why").textContent = [prescription.reason, ledger.words === prescription.reason ? "" : ledger.words, left, ...prescription.cautions].filter(Boolean).join(" ");
  byId("stops").replaceChildren(...stops.map((stop) => element("li", "", stop.words)));
  byId("items").replaceChildren(
    ...prescription.items.map((item) => {
      const row = element("tr");
      const name = element("th", "", item.title);
      name.scope = "row";
      const cells = [text.target(fixed(item.target_s, 0)), text.help(item.alpha, item.alpha_max), text.percent(item.chance), item.paused ? `${text.paused}: ${item.paused}` : item.reason];
      row.append(name, ...cells.map((cell) => element("td", "", cell)));
      return row;
    }),
  );
  const { value, low, high } = prescription.chance_unassisted;
  byId("chance").textContent = text.chance(state.programme.trial.seconds, text.percent(value), text.percent(low), text.percent(high));
}

async function showMonth() {
  const [year, month] = state.month.split("-").map(Number);
  const length = new Date(year, month, 0).getDate();
  const day = (n) => `${state.month}-${String(n).padStart(2, "0")}`;
  const wanted = state.month;
  const { days } = await ask(`${at}/progress?first=${day(1)}&last=${day(length)}`);
  if (wanted !== state.month) return; // another month was asked for meanwhile
  const goal = state.programme.day.minutes;
  const rows = Array.from({ length }, (_, i) => ({ day: i + 1, rig_min: 0, by_hand_min: 0, ...pick(days.find((one) => one.day === day(i + 1))) }));
  const sums = rows.map((row) => row.rig_min + row.by_hand_min);
  const all = fixed(sums.reduce((sum, minutes) => sum + minutes, 0), 1);
  const done = sums.filter((minutes) => minutes >= 0.999 * goal).length;
  const name = new Date(year, month - 1, 1).toLocaleDateString(locale, { month: "long", year: "numeric" });
  byId("month").textContent = name;
  byId("month-words").textContent = [text.monthWords(all, done, goal), rows.some((row) => row.by_hand_min > 0) ? text.byHand : ""].filter(Boolean).join("; ");
  const today = state.today.startsWith(state.month) ? Number(state.today.slice(8)) : null;
  calendar.show(rows, goal, today, text.monthLabel(name, sums.filter((minutes) => minutes > 0).length, all, done));
}

function pick(found) {
  return found ? { rig_min: found.rig_min, by_hand_min: found.by_hand_min } : {};
}

for (const [id, by] of [["month-back", -1], ["month-on", 1]])
  byId(id).addEventListener("click", () => {
    const [year, month] = state.month.split("-").map(Number);
    const moved = new Date(year, month - 1 + by, 1);
    state.month = `${moved.getFullYear()}-${String(moved.getMonth() + 1).padStart(2, "0")}`;
    showMonth().catch(tell);
  });

async function showEndurance(all) {
  const known = await ask(`${at}/endurance`);
  byId("end-note").textContent = known.holds === 0 ? text.endNone : text.endNote(known.holds, known.exhausted);
  const full = known.curve.find(({ beta }) => beta === 1).time_s;
  const range = `${fixed(full.value, 0)} s (${fixed(full.low, 0)} to ${fixed(full.high, 0)})`;
  curve.show(known.curve, all.points, text.endLabel(known.holds, range));
}

function showBests(all) {
  const list = byId("bests");
  list.replaceChildren();
  for (const [key, name] of Object.entries(text.best)) {
    const best = all[key];
    const cell = element("dd");
    list.append(element("dt", "", name), cell);
    if (best === null) {
      cell.textContent = text.noBest;
      continue;
    }
    const share = percent(best.value, best.u);
    const link = element("a", "", key === "least_assistance" ? `${share.shown} ± ${share.about} %` : `${fixed(best.value, 1)} ${words.unit.second}`);
    link.href = `/hold/${encodeURIComponent(best.hold_uid)}`;
    cell.append(link, ` ${best.day}`);
  }
}

async function offerPain() {
  const questions = await ask("/api/intake/questions");
  const places = questions.find(({ answer }) => answer === "places")?.choices ?? [];
  byId("place").add(new Option(text.nowhere, ""));
  for (const place of places) byId("place").add(new Option(place.replaceAll("_", " "), place));
  byId("pain-form").addEventListener("submit", keepPain);
}

async function keepPain(event) {
  event.preventDefault();
  const pain = byId("pain");
  if (!pain.checkValidity()) {
    byId("pain-answer").textContent = text.painHow;
    return pain.focus();
  }
  try {
    const { stops } = await ask(`${at}/pains`, { method: "POST", body: { pain: pain.valueAsNumber, place: byId("place").value || null, note: byId("note").value } });
    tell(null);
    byId("pain-answer").textContent = [text.painKept, ...stops.map((stop) => stop.words)].join(" ");
    byId("pain-form").reset();
    await refresh();
  } catch (error) {
    tell(error); // what was entered stays
  }
}

async function showPains() {
  const pains = await ask(`${at}/pains`);
  const lines = pains.slice(-8).reverse().map(({ at_utc_ms, pain, place, note }) => {
    const when = whenOf({ onset_utc_ms: at_utc_ms, utc_offset_s: null });
    return element("li", "", [text.painAt(when, pain, place?.replaceAll("_", " ")), note].filter(Boolean).join(": "));
  });
  byId("pains").replaceChildren(...(lines.length > 0 ? lines : [element("li", "quiet", text.painNone)]));
}
