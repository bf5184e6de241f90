// One person: what comes next and why, programme, month, endurance, trial, progress, entries, intake, report, record.

import { Calendar } from "./calendar.js";
import { EnduranceCurve } from "./endurance-curve.js";
import { ask, byId, element, frame, tell } from "../lib/frame.js";
import { fixed, percent } from "../lib/numbers.js";
import { Progress } from "./progress.js";
import { Entries } from "./entries.js";
import { Intake } from "./intake.js";
import { Plan } from "./programme.js";
import { PersonRecord } from "./record.js";
import { OwnSwing } from "./own-swing.js";
import { Timeline } from "./timeline.js";
import { usePersonUnit } from "../lib/units.js";
import { locale, translateSentences, translateTitle, words } from "../lib/words.js";

const text = words.person;
const uid = decodeURIComponent(location.pathname.split("/").pop());
const at = `/api/people/${encodeURIComponent(uid)}`;
const calendar = new Calendar(byId("calendar"));
const curve = new EnduranceCurve(byId("endurance"));
const trial = new Timeline(byId("trial"));
const parts = {};
const state = { month: null, programme: null, today: null };

start();

async function start() {
  if ((await frame("/people")) === null) return;
  try {
    const offers = await ask("/api/screens");
    if (!offers.coaching) {
      byId("name").textContent = words.people.noCoaching;
      return;
    }
    const [person, questions, principal] = await Promise.all([
      ask(at),
      ask("/api/intake/questions"),
      offers.authorization ? ask("/api/principal") : { role: "owner" },
    ]);
    named(person);
    byId("csv").href = `/api/holds.csv?person_uid=${encodeURIComponent(uid)}`;
    byId("holds").href = `/holds?who=${encodeURIComponent(uid)}`;
    byId("all").hidden = false;
    parts.plan = new Plan(at, refresh);
    parts.courses = new Progress(at);
    parts.entries = new Entries(at, uid, questions, refresh);
    parts.intake = new Intake(at, uid, questions, refresh);
    parts.swing = new OwnSwing(at, uid);
    parts.record = new PersonRecord(at, person, { offers, owner: principal.role === "owner", renamed: named });
    byId("take").addEventListener("click", take);
    await Promise.all([parts.plan.read(), showWho()]);
    await Promise.all([refresh(), parts.intake.read()]);
    document.body.dataset.ready = "yes";
  } catch (error) {
    tell(error);
  }
}

function named(person) {
  usePersonUnit(person.units);
  byId("name").textContent = person.name;
  document.title = `${words.product}: ${person.name}`;
}

async function showWho() {
  const who = await ask("/api/who");
  byId("take").hidden = false;
  byId("take").setAttribute("aria-pressed", String(who.person_uid === uid));
}

async function take() {
  try {
    await ask("/api/who", { method: "PUT", body: { person_uid: uid } });
    tell(null);
    await showWho();
  } catch (error) {
    tell(error);
  }
}

async function refresh() {
  const [programme, prescription, ledger, stops, all] = await Promise.all(
    ["/programme", "/prescription", "/days", "/stops", "/progress"].map((path) => ask(at + path)),
  );
  Object.assign(state, {
    programme: programme.content,
    today: ledger.today.day,
    month: state.month ?? ledger.today.day.slice(0, 7),
  });
  showToday(prescription, ledger, stops);
  parts.plan.show(programme.content);
  showBests(all);
  parts.courses.take(all, ledger.today.day);
  await Promise.all([showMonth(), showEndurance(all), showTrial(prescription), parts.entries.show()]);
}

function showToday(prescription, ledger, stops) {
  const next = prescription.items.find(({ key }) => key === prescription.next);
  const blocked = prescription.paused !== "" && prescription.items.length === 0;
  byId("next").textContent = next
    ? `${text.next}: ${translateTitle(next.title)}, ${text.target(fixed(next.target_s, 0))}, ${text.help(next.alpha, next.alpha_max)}`
    : blocked
      ? translateSentences(prescription.paused)
      : text.nothing;
  // What the first line has said already (item, target, help) is not said again by the reason.
  const said = next ? `${next.title}, ${fixed(next.target_s, 0)} s` : null;
  const reason =
    said !== null && prescription.reason.startsWith(said)
      ? prescription.reason.replace(/^.*?\. /, "")
      : prescription.reason;
  const left =
    ledger.minutes_left > 0 && ledger.words === prescription.reason ? text.left(fixed(ledger.minutes_left, 1)) : "";
  const sentences = [
    blocked ? "" : translateSentences(reason),
    blocked || ledger.words === prescription.reason ? "" : translateSentences(ledger.words),
    left,
    ...prescription.cautions.filter((one) => !stops.some((stop) => stop.words === one)).map(translateSentences),
  ];
  byId("why").textContent = sentences.filter(Boolean).join(" ");
  byId("stops").replaceChildren(...stops.map((stop) => element("li", "", translateSentences(stop.words))));
  byId("items").replaceChildren(
    ...prescription.items.map((item) => {
      const row = element("tr");
      const name = element("th", "", translateTitle(item.title));
      name.scope = "row";
      const why = item.paused ? `${text.paused}: ${translateSentences(item.paused)}` : translateSentences(item.reason);
      const cells = [
        text.target(fixed(item.target_s, 0)),
        text.help(item.alpha, item.alpha_max),
        text.percent(item.chance),
        why,
      ];
      row.append(name, ...cells.map((cell) => element("td", "", cell)));
      return row;
    }),
  );
}

async function showMonth() {
  const [year, month] = state.month.split("-").map(Number);
  const length = new Date(year, month, 0).getDate();
  const day = (n) => `${state.month}-${String(n).padStart(2, "0")}`;
  const wanted = state.month;
  const { days } = await ask(`${at}/progress?first=${day(1)}&last=${day(length)}`);
  if (wanted !== state.month) return; // another month was requested meanwhile
  const goal = state.programme.day.minutes;
  const rows = Array.from({ length }, (_, i) => ({
    day: i + 1,
    rig_min: 0,
    by_hand_min: 0,
    ...pick(days.find((one) => one.day === day(i + 1))),
  }));
  const sums = rows.map((row) => row.rig_min + row.by_hand_min);
  const all = fixed(
    sums.reduce((sum, minutes) => sum + minutes, 0),
    1,
  );
  const done = sums.filter((minutes) => minutes >= 0.999 * goal).length;
  const name = new Date(year, month - 1, 1).toLocaleDateString(locale, { month: "long", year: "numeric" });
  byId("month").textContent = name;
  byId("month-words").textContent = [
    text.monthWords(all, done, goal),
    rows.some((row) => row.by_hand_min > 0) ? text.byHand : "",
  ]
    .filter(Boolean)
    .join("; ");
  const today = state.today.startsWith(state.month) ? Number(state.today.slice(8)) : null;
  calendar.show(rows, goal, today, text.monthLabel(name, sums.filter((minutes) => minutes > 0).length, all, done));
}

function pick(minutes) {
  return minutes ? { rig_min: minutes.rig_min, by_hand_min: minutes.by_hand_min } : {};
}

for (const [id, by] of [
  ["month-back", -1],
  ["month-on", 1],
])
  // @ts-expect-error not typed yet
  byId(id).addEventListener("click", () => {
    const [year, month] = state.month.split("-").map(Number);
    // @ts-expect-error not typed yet
    const moved = new Date(year, month - 1 + by, 1);
    state.month = `${moved.getFullYear()}-${String(moved.getMonth() + 1).padStart(2, "0")}`;
    showMonth().catch(tell);
  });

async function showEndurance(all) {
  const known = await ask(`${at}/endurance`);
  byId("end-note").textContent = known.holds === 0 ? text.endNone : text.endNote(known.holds, known.exhausted);
  const full = known.curve.find(({ beta }) => beta === 1).time_s;
  const range = text.range(`${fixed(full.value, 0)} s`, fixed(full.low, 0), fixed(full.high, 0));
  curve.show(known.curve, all.points, text.endLabel(known.holds, range));
}

async function showTrial(prescription) {
  const { seconds, past, ahead } = await ask(`${at}/strength`);
  const points = [...past.map((one) => ({ ...one, ahead: false })), ...ahead.map((one) => ({ ...one, ahead: true }))];
  const series = {
    name: text.trialLine(seconds),
    part: "hands",
    line: true,
    points: points.map(({ day, chance, ahead: later }) => ({
      at_ms: Date.parse(`${day}T12:00:00Z`),
      value: chance.value * 100,
      low: chance.low * 100,
      high: chance.high * 100,
      ahead: later,
    })),
  };
  trial.show(text.trialTitle, [series], { unit: "%", low: 0, high: 100 });
  const { value, low, high } = prescription.chance_unassisted;
  byId("chance").textContent = text.chance(
    state.programme.trial.seconds,
    text.percent(value),
    text.percent(low),
    text.percent(high),
  );
  byId("trial-why").textContent = [
    prescription.trial.days === 0 ? "" : translateSentences(prescription.trial.reason),
    ahead.length > 0 ? text.trialAhead : "",
  ]
    .filter(Boolean)
    .join(" ");
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
    const link = element(
      "a",
      "",
      key === "least_assistance" ? `${share.shown} ± ${share.about} %` : `${fixed(best.value, 1)} ${words.unit.second}`,
    );
    link.href = `/hold/${encodeURIComponent(best.hold_uid)}`;
    cell.append(link, ` ${new Date(`${best.day}T12:00:00`).toLocaleDateString(locale, { dateStyle: "medium" })}`);
  }
}
