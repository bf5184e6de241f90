// One hold: its curve, its numbers with their uncertainty, what it brought and one thing to try.

import { ask, byId, element, frame, tell, whenOf } from "../lib/frame.js";
import { holdMark } from "../lib/hold-mark.js";
import { gainOf, measuresOf, suggestionOf } from "./measures.js";
import { HoldCurve, sumsOf } from "./hold-curve.js";
import { JobLines, offerFormats } from "../lib/jobs.js";
import { cut, fixed, percent } from "../lib/numbers.js";
import { notesOf, words } from "../lib/words.js";

const NEIGHBOURS = 20;
const CURVE_POINTS = 1200;

const uid = decodeURIComponent(location.pathname.split("/").pop());
const state = { rig: null, hold: null, fields: [], sums: null, curve: null, marks: [], offers: null };

start();

async function start() {
  state.rig = await frame("/hold");
  if (state.rig === null) return;
  try {
    state.hold = await ask(`/api/holds/${encodeURIComponent(uid)}`);
    state.fields = await ask("/api/hold-fields");
    const settings = await ask("/api/settings");
    state.offers = await ask("/api/screens");
    if (state.offers.coaching) state.marks = (await ask(`/api/holds/${encodeURIComponent(uid)}/markers`)).map(markOf);
    showHead(settings.alpha_max);
    showNumbers(null);
    showMarks();
    await showCurve();
    await offerForms();
    document.body.dataset.ready = "yes";
  } catch (error) {
    tell(error);
  }
}

function showHead(alpha_max) {
  const { hold } = state;
  const r = hold.result;
  document.title = words.holdTitle(whenOf(hold));
  byId("title").textContent = words.holdTitle(whenOf(hold));
  byId("mark").replaceChildren(holdMark(r));
  const time = cut(r.duration_s, r.duration_u_s, 2);
  byId("time").replaceChildren(
    element("span", "digits", time.shown),
    element("span", "unit", ` ± ${time.about ?? "?"} ${words.unit.second}`),
  );
  const known = [
    words.support[r.support],
    words.kind[r.kind],
    words.hidden[hold.hidden],
    hold.made_by === null ? "" : words.byHand,
  ];
  byId("what").textContent = known.filter(Boolean).join(", ");
  const target = [
    hold.target_s === null ? "" : words.targetOf(fixed(hold.target_s, 0), r.duration_s >= hold.target_s),
    words.ending[hold.ending],
    hold.revised > 0 ? words.revisedTimes(hold.revised) : "",
  ];
  byId("target").textContent = target.filter(Boolean).join(", ");
  for (const [name, [text, why]] of [
    ["gain", gainOf(hold)],
    ["suggestion", suggestionOf(hold, alpha_max)],
  ]) {
    // @ts-expect-error not typed yet
    byId(name).textContent = text;
    byId(`${name}-why`).textContent = why;
  }
  byId("said").hidden = false;
  byId("note-list").replaceChildren(
    ...(hold.notes.length > 0 ? notesOf(hold) : [words.noNotes]).map((note) => element("li", "", note)),
  );
  const at = `/api/holds/${encodeURIComponent(uid)}`;
  const links = [
    [`${at}/curve.csv`, words.linkCurveCsv, true],
    [`${at}/curve`, words.linkCurveJson],
    [`/api/holds.csv?uid=${encodeURIComponent(uid)}`, words.linkHoldCsv, true],
    [at, words.linkHoldJson],
  ];
  // @ts-expect-error not typed yet
  byId("links").replaceChildren(...links.map(link));
  byId("notes").hidden = false;
}

/** A marker in words: a cue as written, pain with its rating where there is one. */
function markOf({ kind, at_s, text, pain }) {
  const parts = kind === "pain" ? [pain === null ? words.markPain : words.markPainOf(pain), text] : [text];
  return { at_s, text: parts.filter(Boolean).join(", ") };
}

function showMarks() {
  const onset_s = state.hold.result.onset_s;
  byId("mark-list").replaceChildren(
    ...state.marks.map(({ at_s, text }) => element("li", "", words.markAt(fixed(at_s - onset_s, 1), text))),
  );
  byId("mark-list").hidden = state.marks.length === 0;
}

/** The hold in the other programs' formats, made as a job beside the measuring. */
async function offerForms() {
  if (!state.offers.jobs) return;
  await offerFormats(byId("form"));
  const jobs = new JobLines(byId("jobs"), ({ kind }) => kind === "export");
  byId("export").addEventListener("click", async () => {
    try {
      tell(null);
      await jobs.start("export", { uids: [uid], form: byId("form").value });
    } catch (error) {
      tell(error);
    }
  });
  byId("forms").hidden = false;
}

function link([address, text, download]) {
  const node = element("a", "", text);
  node.href = address;
  if (download) node.setAttribute("download", "");
  return node;
}

function showNumbers(earlier) {
  const other = earlier ? measuresOf(earlier, state.fields) : [];
  const rows = measuresOf(state.hold, state.fields).map((row, i) => {
    const line = element("tr");
    const name = element("th", "", row.name);
    name.scope = "row";
    line.append(name, cell(row));
    if (earlier) line.append(cell(other[i]));
    return line;
  });
  byId("rows").replaceChildren(...rows);
  byId("earlier-column").hidden = earlier === null;
  byId("numbers").hidden = false;
}

function cell({ value, why }) {
  return value === null ? element("td", "quiet", why) : element("td", "", value);
}

async function showCurve() {
  const { hold } = state;
  const r = hold.result;
  let curve;
  try {
    curve = hold.hidden === null || hold.hidden === "discarded" ? await curveOf(hold) : null;
  } catch (error) {
    byId("curve-gone").textContent = [error.what, words.curveGone].join(" ");
    byId("curve-gone").hidden = false;
    return;
  }
  if (curve === null) return;
  byId("curve").hidden = false;
  const share = (value, u) => (value === null ? words.unknown : `${percent(value, u).shown} %`);
  byId("paper").setAttribute(
    "aria-label",
    words.curveOfHold(fixed(r.duration_s, 1), share(r.beta_mean, r.beta_u), share(r.alpha_mean, r.alpha_u)),
  );
  state.sums = curve;
  state.curve = new HoldCurve(byId("paper"), byId("reading"));
  state.curve.show(hold, curve, null, state.marks);
  await offerEarlier();
}

async function curveOf(hold) {
  const curve = await ask(`/api/holds/${encodeURIComponent(hold.uid)}/curve?points=${CURVE_POINTS}`);
  return sumsOf(curve, hold, state.rig.channels);
}

/** Offer the holds before this one, of the same person where there is one. */
async function offerEarlier() {
  const { hold } = state;
  // @ts-expect-error not typed yet
  const query = new URLSearchParams({ until_utc_ms: hold.onset_utc_ms, limit: NEIGHBOURS });
  if (hold.person_uid !== null) query.set("person_uid", hold.person_uid);
  const { holds } = await ask(`/api/holds?${query}`);
  const choice = byId("earlier");
  choice.replaceChildren(new Option(words.layNothing, ""));
  for (const one of holds)
    choice.add(new Option(`${whenOf(one)}, ${words.seconds(fixed(one.result.duration_s, 1))}`, one.uid));
  choice.addEventListener("change", async () => {
    const earlier = holds.find((one) => one.uid === choice.value) ?? null;
    try {
      tell(null);
      showNumbers(earlier);
      state.curve.show(hold, state.sums, earlier === null ? null : await curveOf(earlier));
    } catch (error) {
      state.curve.show(hold, state.sums);
      tell(error);
    }
  });
}
