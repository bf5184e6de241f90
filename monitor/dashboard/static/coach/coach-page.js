// The coach's page: the live page with more curves, and what a coach does beside it, each with one tap.

import { Cues } from "./cues.js";
import { PeoplePanel } from "./people.js";
import { LastHold } from "./last-hold.js";
import { Curves, SwingCurve } from "../live/curves.js";
import { say } from "../lib/drawing.js";
import { ProgramError, byId } from "../lib/frame.js";
import { curves, listen, state } from "../live/live-page.js";

const sides = new Curves(byId("sides"), "sides");
const swing = new SwingCurve(byId("swing"));
const peoplePanel = new PeoplePanel(byId, attempt);
const cues = new Cues(byId, attempt, (marks) => [curves, sides, swing].forEach((chart) => chart.setMarks(marks)));
const last = new LastHold(byId, attempt, peoplePanel);
let shown = "";

byId("refusal-dismiss").addEventListener("click", () => (byId("refusal").hidden = true));

listen((message) => {
  if (message === null) return draw();
  if (message === "light") return restyle();
  if (message === "rig") return begin();
  if (message.type === "picture") {
    if (message.curve) sides.push(message.curve);
    swing.push(message.picture);
    const hold = message.picture.hold;
    if (hold) {
      for (const chart of [sides, swing]) {
        chart.markEdge(hold.onset_s);
        if (hold.ended) chart.markEdge(hold.onset_s + hold.time_s);
      }
    }
    cues.see(message.picture);
  } else if (message.type === "bar") {
    // Who is named, which set comes: the rest is asked for only when this has changed.
    const now = JSON.stringify([message.bar.who, message.bar.requested]);
    if (now !== shown) {
      shown = now;
      peoplePanel.refresh();
    }
  } else if (message.type === "event" || message.type === "events_missed") {
    last.refresh();
    peoplePanel.refreshNext();
  }
});

function draw() {
  sides.draw();
  swing.draw();
}

function restyle() {
  sides.restyle();
  swing.restyle();
}

/** The line is there, for the first time or again. */
function begin() {
  sides.setRig(state.rig.channels);
  byId("sides-box").hidden = state.rig.bar_cells < 2;
  peoplePanel.refresh();
  last.refresh();
}

/** Do something that may be refused: a refusal stands above the page in three sentences until dismissed. */
async function attempt(deed, { background = false } = {}) {
  try {
    const done = await deed();
    if (!background) byId("refusal").hidden = true; // the page's own reading clears no refusal
    return done;
  } catch (error) {
    if (!(error instanceof ProgramError)) throw error;
    say(byId("refusal-what"), error.what);
    say(byId("refusal-do"), [error.means, error.then].filter(Boolean).join(" "));
    byId("refusal").hidden = false;
    return null;
  }
}
