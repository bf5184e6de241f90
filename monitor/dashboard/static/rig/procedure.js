// Guided work at the rig: zero, calibration, check. The program leads; this page shows where it is and hands on what is said.

import { say, svg, set } from "../lib/drawing.js";
import { Feed } from "../lib/feed.js";
import { ask, byId, element, frame, inEnglish, tell, ProgramError } from "../lib/frame.js";
import { cut, fixed, signed } from "../lib/numbers.js";
import { changeText, loadText } from "../lib/units.js";
import { locale, partName, translateError, translateFinding, words } from "../lib/words.js";

const POLL_MS = 500;
const EMPTY_SCENES = ["empty", "waiting"];
const KINDS = { "/rig/zero": "zero", "/rig/calibrate": "calibration", "/rig/check": "check" };
const text = words.procedures;
const page = {
  kind: KINDS[location.pathname] ?? "check",
  rig: null,
  procedure: null,
  scene: null,
  shown: "",
  shows: 0,
  asking: false,
};
const form = byId("begin");
const bob = drawBob();

start();

async function start() {
  page.rig = await frame("/rig");
  if (page.rig === null) return;
  showKind();
  form.addEventListener("submit", begin);
  byId("masses-form").addEventListener("submit", correct);
  new Feed(
    (message) => message.type === "picture" && (page.scene = message.picture.scene),
    () => {},
  );
  await poll();
  setInterval(poll, POLL_MS);
  showEarlier().catch(quietly);
}

function showKind() {
  document.title = `${words.product}: ${text.titles[page.kind]}`;
  say(byId("title"), text.titles[page.kind]);
  say(byId("about"), text.about[page.kind]);
  say(byId("start"), text.start[page.kind]);
  const has = { bar: page.rig.bar_cells > 0, platform: page.rig.has_platform };
  const parts = Object.keys(has).filter((part) => has[part]);
  const fields = {
    zero: [],
    calibration: [
      parts.length > 1 ? partsField(parts) : null,
      field(
        "masses_kg",
        text.masses,
        { type: "text", required: true, inputMode: "decimal", autocomplete: "off" },
        text.massesHint,
        "wide-field",
      ),
      field("tolerance_kg", text.tolerance, { type: "number", min: 0.001, max: 50, step: "any" }, text.toleranceHint),
      field("latitude_deg", text.latitude, { type: "number", min: -90, max: 90, step: "any" }, text.latitudeHint),
      field("height_m", text.height, { type: "number", min: -500, max: 9000, step: "any" }),
      field("temperature_degC", text.temperature, { type: "number", min: -40, max: 60, step: "any" }),
      field(
        "dwell_s",
        text.dwell,
        { type: "number", min: 0, max: 3600, step: "any", value: 60, required: true },
        text.dwellHint,
      ),
      tick("fresh", text.fresh),
    ],
    check: [
      field(
        "watch_s",
        text.watch,
        { type: "number", min: 10, max: 3600, step: 10, value: 60, required: true },
        text.watchHint,
      ),
      field(
        "heaviest_kg",
        text.heaviest,
        { type: "number", min: 20, max: 300, step: 1, value: 130, required: true },
        text.heaviestHint,
      ),
      tick("with_person", text.withPerson, true),
    ],
  }[page.kind];
  byId("fields").replaceChildren(...fields.filter(Boolean));
  keepForm();
}

function field(name, label, attributes, hint = "", className = "") {
  const box = element("label", className);
  const input = Object.assign(document.createElement("input"), { name, ...attributes });
  box.append(element("span", "", label), input);
  if (hint) {
    const said = element("span", "hint", hint);
    said.id = `hint-${name}`;
    input.setAttribute("aria-describedby", said.id);
    box.append(said);
  }
  return box;
}

function tick(name, label, checked = false, value = "") {
  const box = element("label", "tick");
  const input = Object.assign(document.createElement("input"), {
    type: "checkbox",
    name,
    checked,
    value: value || "on",
  });
  box.append(input, element("span", "", label));
  return box;
}

function partsField(parts) {
  const group = document.createElement("fieldset");
  group.append(
    element("legend", "", text.parts),
    ...parts.map((part) => tick("parts", words.rigPage.parts[part], true, part)),
  );
  return group;
}

/** What is typed outlives a reload: nobody weighs plates twice because a page was closed. */
function keepForm() {
  const key = `procedure-${page.kind}`;
  const inputs = [...form.querySelectorAll("input")];
  const write = () =>
    sessionStorage.setItem(
      key,
      JSON.stringify(inputs.map((input) => (input.type === "checkbox" ? input.checked : input.value))),
    );
  try {
    const stored = JSON.parse(sessionStorage.getItem(key) ?? "null");
    if (Array.isArray(stored) && stored.length === inputs.length)
      inputs.forEach((input, i) =>
        input.type === "checkbox" ? (input.checked = stored[i]) : (input.value = stored[i]),
      );
    form.addEventListener("input", write);
  } catch {
    // Storage may be closed to this page; then the form lives as long as the page.
  }
}

function given() {
  const numbers = (name) => {
    const value = form.elements[name].value;
    return value === "" ? {} : { [name]: Number(value) };
  };
  if (page.kind === "zero") return {};
  if (page.kind === "check")
    return { ...numbers("watch_s"), ...numbers("heaviest_kg"), with_person: form.elements.with_person.checked };
  const ticked = [...form.querySelectorAll('input[name="parts"]')];
  const parts =
    ticked.length > 0
      ? ticked.filter((one) => one.checked).map((one) => one.value)
      : page.rig.bar_cells > 0
        ? ["bar"]
        : ["platform"];
  // A decimal comma is a comma between digits; masses are separated by spaces or semicolons.
  const masses = form.elements.masses_kg.value
    .split(/[\s;]+/)
    .filter(Boolean)
    .map((one) => Number(one.replace(/(?<=\d),(?=\d)/, ".").replace(/,$/, "")));
  if (parts.length === 0) throw new ProgramError({ code: "", ...text.noPart });
  if (masses.length === 0 || masses.some((kg) => !(kg > 0))) throw new ProgramError({ code: "", ...text.noMass });
  return {
    parts,
    masses_kg: masses,
    ...numbers("tolerance_kg"),
    ...numbers("latitude_deg"),
    ...numbers("height_m"),
    ...numbers("temperature_degC"),
    ...numbers("dwell_s"),
    fresh: form.elements.fresh.checked,
  };
}

async function begin(event) {
  event.preventDefault();
  await doing(async () => {
    byId("done").hidden = true;
    show(await ask(`/api/rig/procedure/${page.kind}`, { method: "POST", body: given() }));
    byId("sheet").focus();
  });
}

/** Do what a button wants; what is refused stands above the page. */
async function doing(work) {
  try {
    tell(null);
    await work();
  } catch (error) {
    tell(error);
    window.scrollTo({ top: 0 });
  }
}

async function poll() {
  if (page.asking) return;
  page.asking = true;
  const shows = page.shows;
  try {
    const procedure = await ask("/api/rig/procedure");
    // What a button brought meanwhile is newer.
    if (shows === page.shows) show(procedure);
    if (page.lost) tell(null);
    page.lost = false;
  } catch (error) {
    page.lost = true;
    tell(error);
  } finally {
    page.asking = false;
  }
}

function show(procedure) {
  page.shows += 1;
  if (procedure !== null && procedure.kind !== page.kind) {
    page.kind = procedure.kind;
    showKind();
  }
  const before = page.procedure;
  page.procedure = procedure;
  if (before !== null && procedure === null && byId("done").hidden) showDone(text.gone);
  form.hidden = procedure !== null;
  byId("about").hidden = procedure !== null;
  byId("earlier").hidden = procedure !== null || byId("saved").childElementCount === 0;
  const finished = procedure?.stage === "finished";
  byId("running").hidden = procedure === null || finished;
  byId("result").hidden = !finished;
  const occupied = page.scene !== null && !EMPTY_SCENES.includes(page.scene) && page.scene !== "not_ready";
  showMasses(procedure?.masses ?? null);
  byId("start").disabled = procedure === null && occupied;
  say(byId("begin-hint"), procedure === null && occupied ? text.occupied : "");
  if (procedure === null) {
    page.shown = "";
    return;
  }
  byId("done").hidden = true;
  if (finished) showResult(procedure);
  else showRunning(procedure);
}

/** The masses of a calibration, to be corrected; polling does not overwrite what is being typed. */
function showMasses(masses) {
  const key = JSON.stringify(masses);
  byId("masses").hidden = masses === null;
  if (page.masses === key) return;
  page.masses = key;
  byId("masses-answer").textContent = "";
  byId("masses-fields").replaceChildren(
    ...(masses ?? []).map(({ name, kg }) =>
      field(name, text.massOf(name), {
        type: "number",
        min: 0.001,
        max: 500,
        step: "any",
        defaultValue: kg,
        required: true,
        inputMode: "decimal",
      }),
    ),
  );
}

/** Only what was changed is sent: a reading that was refused for its mass is judged anew. */
async function correct(event) {
  event.preventDefault();
  const typed = [...byId("masses-fields").querySelectorAll("input")];
  const wrong = typed.find((input) => !input.checkValidity());
  if (wrong !== undefined) return wrong.focus();
  const changed = typed.filter((input) => input.valueAsNumber !== Number(input.defaultValue));
  if (changed.length === 0) return;
  await doing(async () => {
    page.shown = ""; // a result is made anew
    show(
      await ask("/api/rig/procedure/masses", {
        method: "PATCH",
        body: { masses_kg: Object.fromEntries(changed.map((input) => [input.name, input.valueAsNumber])) },
      }),
    );
    byId("masses-answer").textContent = text.massesCorrected;
  });
}

function showRunning(procedure) {
  say(
    byId("where"),
    `${text.stepOf(procedure.step, procedure.steps)} · ${text.by(procedure.by)}${procedure.practice ? ` · ${text.practice}` : ""}`,
  );
  say(byId("do"), instruction(procedure));
  showStillness(procedure);
  showRefusal(procedure.refusal);
  const key = `${procedure.id} ${procedure.stage} ${procedure.step} ${procedure.task?.key ?? ""}`;
  if (key !== page.shown) {
    page.shown = key;
    byId("buttons").replaceChildren(...buttonsOf(procedure));
    byId("buttons").querySelector(".main-button")?.focus({ preventScroll: true });
  }
}

function buttonsOf(procedure) {
  const answer = (action) => () =>
    doing(async () =>
      show(await ask("/api/rig/procedure/answer", { method: "POST", body: { action, step: procedure.step } })),
    );
  const list = [];
  if (procedure.kind === "calibration") {
    if (procedure.stage === "place")
      list.push(button(procedure.task?.masses.length > 0 ? text.hangs : text.isEmpty, answer("next"), true));
    if (procedure.stage === "refused")
      list.push(button(text.readAgain, answer(procedure.task === null ? "back" : "next"), true));
    if (procedure.stage === "refused" && procedure.task !== null) list.push(button(text.changeLoad, answer("back")));
    if (procedure.stage === "place" && procedure.step > 1) list.push(button(text.back, answer("back")));
    if (procedure.stage === "warm_up") list.push(button(text.skipWarmUp, answer("skip")));
  }
  if (procedure.kind === "zero" && procedure.stage === "refused")
    list.push(button(text.readAgain, answer("next"), true));
  if (procedure.kind === "check" && procedure.task !== null && procedure.task.kind !== "empty")
    list.push(button(text.leaveOut, answer("skip")));
  list.push(endButton());
  return list;
}

function button(name, act, main = false) {
  const node = element("button", main ? "main-button" : "", name);
  node.type = "button";
  node.addEventListener("click", act);
  return node;
}

function endButton() {
  return button(text.end, () =>
    doing(async () => {
      await ask("/api/rig/procedure", { method: "DELETE" });
      showDone(text.ended);
      show(null);
      byId("start").focus();
    }),
  );
}

/** What is to be done, in the language of the page: from data where there are words for it, else as the program says it. */
function instruction(procedure) {
  const task = procedure.task;
  if (procedure.kind === "zero") return text.zeroDo;
  if (procedure.kind === "check") {
    if (task === null) return "";
    return text.tasks[task.kind](
      task.kind === "hang" ? (text.sides[task.at] ?? "") : partName(task.at),
      byId("begin").elements.watch_s?.value ?? "60",
    );
  }
  if (procedure.stage === "warm_up")
    return Math.abs(procedure.drift_N_per_min ?? 0) > 0.2
      ? text.stillDrifting(loadText(Math.abs(procedure.drift_N_per_min), { digits: 2 }))
      : text.warmUp;
  if (procedure.stage === "reading") return text.handsOff;
  if (task === null) return text.allRead;
  const part = words.rigPage.parts[task.part];
  const where = task.place === null ? part : text.partAt(part, partName(task.place));
  if (task.masses.length === 0) return text.clear(part);
  if (task.removed.length > 0 && task.added.length === 0)
    return text.takeOff(task.removed.join(", "), where, task.masses.join(", "));
  return text.hang[task.part](task.added.join(", "), where, task.masses.length > task.added.length);
}

function showStillness(procedure) {
  const watched =
    (procedure.kind === "calibration" && procedure.stage === "reading") ||
    procedure.kind === "zero" ||
    procedure.kind === "check";
  byId("stillness").hidden = !watched || procedure.stage === "refused";
  if (byId("stillness").hidden) return;
  byId("bob").hidden = procedure.kind !== "calibration";
  const wait = procedure.needed_s == null ? "" : text.more(Math.ceil(procedure.needed_s));
  if (procedure.kind !== "calibration") {
    say(byId("still"), procedure.kind === "check" ? observation(procedure) : text.reading);
    say(byId("wait"), wait || text.since(Math.round(procedure.seconds)));
    return;
  }
  const unrest = procedure.unrest;
  set(bob.bob, {
    cx: 120 + (unrest === null ? 0 : Math.min(unrest, 4) * 24),
    "fill-opacity": unrest === null ? 0.25 : 1,
  });
  say(
    byId("still"),
    unrest === null ? text.settling : procedure.still ? text.still : unrest < 1.5 ? text.nearly : text.moving,
  );
  say(
    byId("wait"),
    [procedure.seconds > 0 ? text.averaged(Math.round(procedure.seconds)) : "", wait].filter(Boolean).join(", "),
  );
}

/** What a check observes now: a short word of the program, or a cell that moves. */
function observation(procedure) {
  return text.observations[procedure.seen] ?? procedure.seen;
}

/** A bob on its line; the ring around the resting place is what counts as still. */
function drawBob() {
  const dot = svg("circle", { cx: 120, cy: 32, r: 7, class: "procedure-bob" });
  byId("bob").append(
    svg(
      "svg",
      { viewBox: "0 0 240 64" },
      svg("line", { x1: 120, y1: 0, x2: 120, y2: 64, class: "procedure-line" }),
      svg("line", { x1: 24, y1: 32, x2: 216, y2: 32, class: "procedure-line" }),
      svg("circle", { cx: 120, cy: 32, r: 24, class: "procedure-ring" }),
      dot,
    ),
  );
  return { bob: dot };
}

function showRefusal(refusal) {
  const box = byId("refusal");
  const key = refusal === null ? "" : JSON.stringify(refusal);
  if (box.dataset.shown === key) return;
  box.dataset.shown = key;
  box.hidden = refusal === null;
  if (refusal === null) return;
  const own = translateError(refusal.code);
  const lines = own ?? refusal;
  box.replaceChildren(element("p", "", lines.what), element("p", "", lines.means), element("p", "", lines.do));
  if (own !== null) {
    const said = element("p", "quiet");
    said.append(inEnglish(`${refusal.what} ${refusal.do}`));
    box.insertBefore(said, box.lastChild);
  }
}

function showResult(procedure) {
  const key = `${procedure.id} result`;
  if (page.shown === key) return;
  page.shown = key;
  const write = { zero: zeroResult, calibration: calibrationResult, check: checkResult }[procedure.kind];
  byId("findings").replaceChildren(...write(procedure.result));
  byId("result-buttons").replaceChildren(
    button(text.accept[procedure.kind], () => accept(procedure.kind, false), true),
    ...(procedure.kind === "zero"
      ? [
          button(text.readAgain, () =>
            doing(async () =>
              show(await ask("/api/rig/procedure/answer", { method: "POST", body: { action: "next", step: 1 } })),
            ),
          ),
        ]
      : []),
    endButton(),
  );
  byId("result").focus({ preventScroll: true });
}

async function accept(kind, although) {
  const buttons = byId("result-buttons").querySelectorAll("button");
  for (const one of buttons) one.disabled = true; // a small board takes a moment; nobody shall press twice
  try {
    tell(null);
    const saved = await ask("/api/rig/procedure/accept", {
      method: "POST",
      body: { although_somebody_hangs: although },
    });
    showDone(text.accepted[kind], saved.id);
    show(null);
    await showEarlier();
  } catch (error) {
    tell(error);
    for (const one of buttons) one.disabled = false;
    if (error.code === "rig-in-use" && !byId("result-buttons").querySelector(".although")) {
      const insist = button(text.although, () => accept(kind, true));
      insist.classList.add("although");
      byId("result-buttons").append(insist);
    }
  }
}

function zeroResult({ zero, unusual }) {
  const rows = Object.entries(zero).map(([name, one]) => [
    partName(name),
    changeText(one.shift_N, 2),
    unusual.includes(name) ? text.unusual : "",
  ]);
  return [element("p", "", text.zeroMeans), table([text.cell, text.movedBy, ""], rows)];
}

function calibrationResult(result) {
  const nodes = [
    element("p", "", text.gravity(fixed(result.gravity_m_s2, 4), signed(100 * result.gravity_effect_rel, 3))),
  ];
  for (const part of result.parts) {
    nodes.push(element("h3", "", text.knownTo(words.rigPage.parts[part.part], fixed(100 * part.u_rel_sum, 2))));
    nodes.push(
      table(
        [text.cell, text.span, text.u, text.largest, text.noise, text.zeroDrift, text.creep],
        part.cells.map((cell) => {
          const [why, size] = Object.entries(cell.budget_rel).sort((a, b) => b[1] - a[1])[0];
          const span = cut(1000 * cell.N_per_count, Math.abs(1000 * cell.N_per_count * cell.u_rel_span), 4);
          return [
            partName(cell.channel),
            `${span.shown}${span.about === null ? "" : ` ± ${span.about}`}`,
            `${fixed(100 * cell.u_rel_span, 2)} %`,
            `${text.budget[why] ?? why} ${fixed(100 * size, 2)} %`,
            loadText(cell.noise_N, { digits: 2 }),
            changeText(cell.zero_drift_N, 2),
            cell.creep_rel === null ? words.noTime : `${signed(100 * cell.creep_rel, 3)} %`,
          ];
        }),
      ),
    );
    nodes.push(element("p", "quiet", text.marks));
    const checks = table(
      [text.checked, text.foundValue, text.limit, ""],
      part.checks.map((c) => [
        translateFinding(c.name) ?? c.name,
        changeText(c.value_N, 2),
        loadText(c.limit_N, { digits: 2 }),
        text.verdicts[c.verdict],
      ]),
    );
    for (const cell of checks.querySelectorAll("tbody th")) {
      // @ts-expect-error not typed yet
      if (part.checks.some((c) => c.name === cell.textContent && translateFinding(c.name) === null)) cell.lang = "en";
    }
    nodes.push(checks);
  }
  if (result.flags.length > 0) {
    const list = element("ul");
    list.append(...result.flags.map((flag) => finding("li", "", flag)));
    // @ts-expect-error not typed yet
    nodes.push(list);
  }
  return nodes;
}

function checkResult(report) {
  const list = element("ul", "procedure-verdicts");
  for (const verdict of report.verdicts) {
    const item = element("li", verdict.outcome);
    item.append(
      element("span", "mark-word", text.outcomes[verdict.outcome]),
      finding("span", "", verdict.title),
      finding("span", "quiet", verdict.words),
    );
    if (verdict.do) item.append(finding("span", "what-to-do", verdict.do));
    list.append(item);
  }
  const nodes = [element("p", "procedure-word", text.summary[report.outcome]), list];
  if (report.zero_proposal) {
    const line = element("p", "", `${text.zeroProposed} `);
    line.append(link("/rig/zero", text.titles.zero));
    nodes.push(line);
  }
  return nodes;
}

/** A finding of the program; one without a translation stays English and is marked so. */
function finding(name, className, said) {
  const own = translateFinding(said);
  const node = element(name, className, own ?? said);
  if (own === null) node.lang = "en";
  return node;
}

function table(heads, rows) {
  const box = element("div", "wide");
  Object.assign(box, { tabIndex: 0 });
  box.setAttribute("role", "group");
  box.setAttribute("aria-label", heads[0]);
  const made = element("table", "cells");
  const head = element("tr");
  head.append(
    ...heads.map((name) => Object.assign(element(name ? "th" : "td", "", name), name ? { scope: "col" } : {})),
  );
  const top = element("thead");
  top.append(head);
  const body = element("tbody");
  for (const values of rows) {
    const line = element("tr");
    line.append(
      ...values.map((value, i) =>
        Object.assign(element(i === 0 ? "th" : "td", "", value), i === 0 ? { scope: "row" } : {}),
      ),
    );
    body.append(line);
  }
  made.append(top, body);
  box.append(made);
  return box;
}

function showDone(said, id = null) {
  const box = byId("done");
  box.hidden = false;
  box.replaceChildren(element("p", "procedure-do", said));
  if (id === null) return;
  const line = element("p", "procedure-buttons");
  if (page.kind === "calibration") line.append(link(`/api/rig/calibrations/${id}/sheet`, text.sheet, true));
  if (page.kind === "check") line.append(link(`/api/rig/checks/${id}/page`, text.checkPage, true));
  line.append(link("/rig", text.toRig), link("/first-steps", words.pages.names["/first-steps"]));
  box.append(line);
}

async function showEarlier() {
  const list = byId("saved");
  if (page.kind === "check") {
    const checks = await ask("/api/rig/checks");
    list.replaceChildren(
      ...checks
        .slice(0, 12)
        .map((one) =>
          row(when(one.at), text.outcomes[one.outcome], link(`/api/rig/checks/${one.id}/page`, text.checkPage, true)),
        ),
    );
  } else {
    const { calibration, saved, sheets } = await ask("/api/rig/calibrations");
    list.replaceChildren(
      ...saved
        .slice(0, 12)
        .map((id) =>
          row(
            when(id.replace(/T(\d\d)(\d\d)(\d\d)Z/, "T$1:$2:$3Z")),
            calibration?.id === id ? text.inForce : "",
            sheets.includes(id) ? link(`/api/rig/calibrations/${id}/sheet`, text.sheet, true) : "",
          ),
        ),
    );
  }
  byId("earlier").hidden = page.procedure !== null || list.childElementCount === 0;
}

function row(...parts) {
  const item = element("li");
  item.append(
    ...parts.filter((part) => part !== "").map((part) => (typeof part === "string" ? element("span", "", part) : part)),
  );
  return item;
}

function link(address, name, download = false) {
  const node = element("a", "", name);
  node.href = address;
  if (download) node.download = "";
  return node;
}

function when(at) {
  const date = new Date(at);
  return Number.isNaN(date.getTime()) ? at : date.toLocaleString(locale, { dateStyle: "medium", timeStyle: "short" });
}

/** Lists of earlier work are an extra: without them the page does its work. */
function quietly(error) {
  if (!(error instanceof ProgramError)) throw error;
}
