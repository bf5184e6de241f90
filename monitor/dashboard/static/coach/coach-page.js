// The coach's page: the live page with more curves, and what a coach does beside it, each with one tap.

import { Cues } from "./cues.js";
import { Crowd } from "./people.js";
import { LastHold } from "./last-hold.js";
import { Curves, SwingCurve } from "../live/curves.js";
import { say } from "../lib/drawing.js";
import { Told, byId } from "../lib/frame.js";
import { curves, listen, state } from "../live/live-page.js";

const sides = new Curves(byId("sides"), "sides");
const swing = new SwingCurve(byId("swing"));
const crowd = new Crowd(byId, attempt);
const cues = new Cues(byId, attempt, (marks) => [curves, sides, swing].forEach((paper) => paper.setMarks(marks)));
const last = new LastHold(byId, attempt, crowd);
let followed = "";

byId("told-seen").addEventListener("click", () => (byId("told").hidden = true));

listen((message) => {
  if (message === null) return draw();
  if (message === "light") return restyle();
  if (message === "rig") return begin();
  if (message.type === "picture") {
    if (message.curve) sides.push(message.curve);
    swing.push(message.picture);
    const hold = message.picture.hold;
    if (hold) {
      for (const paper of [sides, swing]) {
        paper.markEdge(hold.onset_s);
        if (hold.ended) paper.markEdge(hold.onset_s + hold.time_s);
      }
    }
    cues.see(message.picture);
  } else if (message.type === "bar") {
    // Who is named, which set comes: the rest is asked for only when this has changed.
    const now = JSON.stringify([message.bar.who, message.bar.asked]);
    if (now !== followed) {
      followed = now;
      crowd.refresh();
    }
  } else if (message.type === "event" || message.type === "events_missed") {
    last.refresh();
    crowd.refreshNext();
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
  crowd.refresh();
  last.refresh();
}

/** Do something that may be refused: a refusal stands above the page in three sentences, until it is seen. */
async function attempt(deed, { asked = true } = {}) {
  try {
    const done = await deed();
    if (asked) byId("told").hidden = true; // what the page reads by itself takes no refusal away
    return done;
  } catch (error) {
    if (!(error instanceof Told)) throw error;
    say(byId("told-what"), error.what);
    say(byId("told-do"), [error.means, error.then].filter(Boolean).join(" "));
    byId("told").hidden = false;
    return null;
  }
}
