// The list of all holds, fetched page by page, however many there are. The query stands in the address.

import { ask, byId, element, frame, tell, whenOf } from "../lib/frame.js";
import { JobLines, offerFormats } from "../lib/jobs.js";
import { holdMark } from "../lib/hold-mark.js";
import { cut, percent } from "../lib/numbers.js";
import { notesOf, words } from "../lib/words.js";

const PAGE = 50;
const MOST_CHOSEN = 200;
const SETTLE_MS = 250;

const text = words.list;
const form = byId("ask");
const state = {
  offset: 0,
  total: 0,
  holds: [],
  chosen: new Map(),
  people: new Map(),
  request: 0,
  undo: [],
  stopped: false,
};

start();

async function start() {
  const framed = frame("/holds");
  options("kind", { "": text.any, ...words.kind });
  options("support", { "": text.any, ...words.support });
  options("order", text.orders);
  readAddress(); // before anything is waited for: what somebody enters meanwhile must not be lost
  listen();
  byId("ask-box").open = innerWidth >= 700 || location.search !== "";
  if ((await framed) === null) return;
  try {
    const { coaching, jobs } = await ask("/api/screens");
    Object.assign(state, { coaching, jobs: coaching && jobs });
    if (state.jobs) await offerExport();
    if (coaching) await offerPeople();
  } catch (error) {
    tell(error);
  }
  await refresh();
}

function options(id, entries) {
  for (const [value, name] of Object.entries(entries)) byId(id).add(new Option(name, value));
}

/** Chosen holds as a file of another form: long work, which goes on while the list is read. */
async function offerExport() {
  await offerFormats(byId("export-form"));
  const jobs = new JobLines(byId("export-jobs"), ({ kind }) => kind === "export");
  byId("export").addEventListener("click", async () => {
    try {
      await jobs.start("export", { uids: [...state.chosen.keys()], form: byId("export-form").value });
      tell(null);
    } catch (error) {
      tell(error);
    }
  });
  await jobs.read();
}

async function offerPeople() {
  for (const person of await ask("/api/people")) state.people.set(person.uid, person.name);
  options("who", { "": text.anybody, guests: text.guests });
  for (const [uid, name] of state.people) byId("who").add(new Option(name, uid));
  byId("who").value = new URLSearchParams(location.search).get("who") ?? "";
  byId("who-field").hidden = byId("who-column").hidden = false;
}

function readAddress() {
  const query = new URLSearchParams(location.search);
  for (const field of form.elements)
    if (field.name) field.value = query.get(field.name) ?? (field.name === "order" ? "newest" : "");
  state.offset = Math.max(0, Number.parseInt(query.get("offset") ?? "0", 10) || 0);
}

function writeAddress() {
  const query = new URLSearchParams();
  for (const field of form.elements)
    if (field.name && field.value && !(field.name === "order" && field.value === "newest"))
      query.set(field.name, field.value);
  // @ts-expect-error not typed yet
  if (state.offset > 0) query.set("offset", state.offset);
  const search = query.toString();
  history.replaceState(null, "", search ? `?${search}` : location.pathname);
}

/** The query in the API's terms; days are those of this screen's calendar. */
function apiQuery() {
  const field = (name) => form.elements[name].value;
  const query = new URLSearchParams({ order: field("order") || "newest" });
  if (state.coaching && field("who") === "guests") query.set("guests", "true");
  else if (state.coaching && field("who")) query.set("person_uid", field("who"));
  for (const name of ["kind", "support", "least_s", "most_s"]) if (field(name)) query.set(name, field(name));
  // @ts-expect-error not typed yet
  if (field("since")) query.set("since_utc_ms", new Date(`${field("since")}T00:00`).getTime());
  if (field("until")) {
    const day = new Date(`${field("until")}T00:00`);
    day.setDate(day.getDate() + 1); // the last day is included, also where clocks change
    // @ts-expect-error not typed yet
    query.set("until_utc_ms", day.getTime());
  }
  return query;
}

function listen() {
  let waiting;
  form.addEventListener("input", () => {
    clearTimeout(waiting);
    waiting = setTimeout(() => go(0), SETTLE_MS);
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  byId("clear").addEventListener("click", () => {
    for (const field of form.elements) if (field.name) field.value = field.name === "order" ? "newest" : "";
    go(0);
  });
  const lastPage = () => Math.max(0, Math.ceil(state.total / PAGE) - 1) * PAGE;
  const turns = {
    first: () => 0,
    before: () => Math.max(0, state.offset - PAGE),
    after: () => state.offset + PAGE,
    last: lastPage,
  };
  for (const [id, to] of Object.entries(turns)) byId(id).addEventListener("click", () => go(to()));
  byId("pick-all").addEventListener("change", (event) => chooseAll(event.target.checked));
  byId("drop").addEventListener("click", () => {
    state.chosen.clear();
    show();
  });
  byId("discard").addEventListener("click", () => {
    byId("discard-form").hidden = false;
    byId("reason").focus();
  });
  byId("discard-not").addEventListener("click", () => {
    byId("discard-form").hidden = true;
    byId("discard").focus();
  });
  byId("discard-form").addEventListener("submit", discard);
  byId("undo").addEventListener("click", undo);
  byId("stop").addEventListener("click", () => (state.stopped = true));
  document.addEventListener("visibilitychange", () => document.hidden || refresh());
}

function go(offset) {
  state.offset = offset;
  refresh();
}

async function refresh() {
  const request = ++state.request;
  writeAddress();
  const wanted = apiQuery();
  byId("csv-matching").href = `/api/holds.csv?${wanted}`;
  let page;
  try {
    page = await ask(`/api/holds?${wanted}&limit=${PAGE}&offset=${state.offset}`);
  } catch (error) {
    if (request === state.request) tell(error);
    return;
  }
  if (request !== state.request) return; // a later request has overtaken this one
  tell(null);
  if (page.holds.length === 0 && page.total > 0 && state.offset > 0)
    return go(Math.floor((page.total - 1) / PAGE) * PAGE);
  Object.assign(state, { total: page.total, holds: page.holds });
  show();
  // @ts-expect-error not typed yet
  document.body.dataset.request = request;
}

function show() {
  const { holds, total, offset } = state;
  byId("match-count").textContent = text.matchCount(total);
  byId("table").hidden = total === 0;
  byId("rows").replaceChildren(...holds.map(row));
  byId("list-pages").hidden = total <= PAGE;
  byId("part").textContent = text.part(offset + 1, offset + holds.length);
  byId("first").disabled = byId("before").disabled = offset === 0;
  byId("after").disabled = byId("last").disabled = offset + PAGE >= total;
  showChoice();
}

function showChoice() {
  const n = state.chosen.size;
  const here = state.holds.filter((hold) => state.chosen.has(hold.uid)).length;
  byId("pick-all").checked = here > 0 && here === state.holds.length;
  byId("pick-all").indeterminate = here > 0 && here < state.holds.length;
  byId("chosen").textContent = text.chosen(n);
  for (const id of ["csv-chosen", "drop"]) byId(id).hidden = n === 0;
  byId("discard").hidden = n === 0 || !state.coaching;
  byId("export-part").hidden = n === 0 || !state.jobs;
  if (n === 0) byId("discard-form").hidden = true;
  byId("discard-do").textContent = text.discardDo(n);
  byId("csv-chosen").href =
    `/api/holds.csv?${new URLSearchParams([...state.chosen.keys()].map((uid) => ["uid", uid]))}`;
}

function row(hold) {
  const r = hold.result;
  const line = element("tr");
  line.dataset.uid = hold.uid;
  const when = whenOf(hold);
  const pick = element("input");
  pick.type = "checkbox";
  pick.checked = state.chosen.has(hold.uid);
  pick.setAttribute("aria-label", text.pickOne(when));
  pick.addEventListener("change", () => {
    choose(hold, pick.checked);
    pick.checked = state.chosen.has(hold.uid);
    line.classList.toggle("chosen", pick.checked);
    showChoice();
  });
  line.classList.toggle("chosen", pick.checked);
  const page = element("a", "", when);
  page.href = `/hold/${encodeURIComponent(hold.uid)}`;
  const feet = percent(r.alpha_mean, r.alpha_u);
  const share =
    feet === null
      ? words.noTime
      : [`${feet.shown} ± ${feet.about ?? "?"} %`, r.alpha_direct ? "" : words.inferred].filter(Boolean).join(", ");
  const cells = [
    [pick, ""],
    [holdMark(r), "list-mark"],
    [page, "list-when"],
  ];
  if (state.coaching) cells.push([state.people.get(hold.person_uid) ?? text.guest, "list-who"]);
  cells.push(
    [`${cut(r.duration_s, r.duration_u_s).shown} ${words.unit.second}`, "list-time"],
    [share, "list-feet"],
    [[words.support[r.support], words.kind[r.kind]].filter(Boolean).join(", "), "list-what"],
    [notesOf(hold).join("; "), "list-notes"],
  );
  for (const [content, className] of cells) {
    const cell = element("td", className);
    cell.append(content);
    line.append(cell);
  }
  return line;
}

function choose(hold, wanted) {
  if (!wanted) state.chosen.delete(hold.uid);
  else if (state.chosen.size < MOST_CHOSEN) state.chosen.set(hold.uid, hold);
  else byId("answer").textContent = text.most200;
}

function chooseAll(wanted) {
  for (const hold of state.holds) choose(hold, wanted);
  show();
}

async function discard(event) {
  event.preventDefault();
  const reason = byId("reason").value.trim();
  if (reason === "") {
    byId("answer").textContent = text.reasonNeeded;
    byId("reason").focus();
    return;
  }
  const uids = [...state.chosen.keys()];
  state.undo = [];
  const failed = await oneByOne(uids, text.discarding, async (uid) => {
    const made = await ask(`/api/holds/${encodeURIComponent(uid)}/corrections`, {
      method: "POST",
      body: { kind: "discard", reason },
    });
    state.undo.push(made.id);
    state.chosen.delete(uid);
  });
  if (state.undo.length > 0) byId("answer").textContent = text.discarded(state.undo.length);
  byId("undo").hidden = state.undo.length === 0;
  if (state.chosen.size === 0) byId("reason").value = "";
  await refresh();
  if (failed !== null) tell(failed);
  if (state.undo.length > 0) byId("undo").focus();
}

async function undo() {
  let count = 0;
  const failed = await oneByOne(
    [...state.undo].reverse(),
    (done) => text.undone(done),
    async (number) => {
      await ask(`/api/corrections/${number}/undo`, { method: "POST", body: {} });
      state.undo = state.undo.filter((one) => one !== number);
      count++;
    },
  );
  byId("answer").textContent = text.undone(count);
  byId("undo").hidden = state.undo.length === 0;
  await refresh();
  if (failed !== null) tell(failed);
}

/** Do something for one after the other; it can be stopped, and what fails is returned. What is done stays done. */
async function oneByOne(items, telling, act) {
  state.stopped = false;
  byId("stop").hidden = items.length < 2;
  let done = 0;
  let failed = null;
  for (const item of items) {
    if (state.stopped) break;
    try {
      await act(item);
    } catch (error) {
      failed = error;
      break;
    }
    byId("answer").textContent = telling(++done, items.length);
  }
  byId("stop").hidden = true;
  return failed;
}
