// The way in: which rig, and a list that ticks itself from what the rig knows; one button for each line.

import { say } from "../lib/drawing.js";
import { ask, byId, element, frame, tell } from "../lib/frame.js";
import { words } from "../lib/words.js";

const LOOK_MS = 1500;
const text = words.firstSteps;
const LEADS = {
  rig: "/rig",
  board: "/rig",
  check: "/rig/check",
  calibration: "/rig/calibrate",
  person: "/people",
  hold: "/",
};
const page = { shown: "", restarting: false };

start();

async function start() {
  await frame("/first-steps");
  byId("own").addEventListener("submit", (event) => {
    event.preventDefault();
    choose({
      way: "port",
      port: byId("own").elements.port?.value ?? "",
      build: byId("build").value || null,
      mount_rating_N: byId("mount").value === "" ? null : byId("mount").valueAsNumber,
    });
  });
  byId("virtual").addEventListener("click", () => choose({ way: "virtual" }));
  byId("leave").addEventListener("click", () => choose({ way: "none" }));
  byId("build").addEventListener("change", showMount);
  await look();
  setInterval(look, LOOK_MS);
}

async function choose(wish) {
  try {
    tell(null);
    await ask("/api/setup", { method: "POST", body: wish });
    page.restarting = true;
    say(byId("state"), text.starting);
  } catch (error) {
    tell(error);
  }
}

async function look() {
  try {
    const known = await ask("/api/first-steps");
    if (page.restarting && known.ways === page.ways) return;
    if (page.restarting) {
      location.reload();
      return;
    }
    page.ways = known.ways;
    tell(null);
    show(known);
    if (known.ways === "open") await showPorts();
  } catch (error) {
    // While the program begins anew it is not reached for a moment; that is no error.
    if (!page.restarting) tell(error);
  }
}

function show(known) {
  const steps = Object.keys(text.steps);
  const next = steps.find((name) => known.steps[name] === false);
  byId("ways").hidden = known.ways !== "open";
  byId("steps").hidden = known.ways === "open";
  byId("leave").hidden = known.ways !== "virtual";
  say(byId("state"), known.ways === "open" ? text.noRig : next === undefined ? text.allDone : "");
  byId("warning").hidden = known.check_outcome !== "bad";
  say(byId("warning"), known.check_outcome === "bad" ? text.badCheck : "");
  const key = JSON.stringify(known.steps);
  if (key === page.shown) return;
  page.shown = key;
  byId("steps").replaceChildren(...steps.map((name) => stepItem(name, known.steps[name], name === next)));
}

function stepItem(name, done, next) {
  const item = element("li", done ? "done-step" : next ? "next-step" : "");
  const mark = element("span", "tick-mark", done ? "✓" : next ? "→" : "·");
  mark.setAttribute("role", "img");
  mark.setAttribute("aria-label", done ? text.done : next ? text.next : text.later);
  const said = element("div");
  said.append(element("h2", "", text.steps[name][0]), element("p", "", text.steps[name][1]));
  const lead = element("a", "as-button step-button", text.buttons[name]);
  lead.href = LEADS[name];
  item.append(mark, said, lead);
  return item;
}

async function showPorts() {
  const { ports, builds, described } = await ask("/api/setup");
  const key = JSON.stringify([ports, builds, described]);
  if (key === page.ports) return;
  page.ports = key;
  const chosen = byId("own").elements.port?.value;
  byId("ports").replaceChildren(
    ...ports.map((port, i) => {
      const label = element("label");
      const input = Object.assign(document.createElement("input"), {
        type: "radio",
        name: "port",
        value: port.path,
        required: true,
        checked: port.path === chosen || (chosen === undefined && i === 0),
      });
      label.append(input, element("span", "", `${port.path}: ${port.description || text.noDescription}`));
      return label;
    }),
  );
  say(byId("no-ports"), ports.length === 0 ? text.noPorts : "");
  byId("connect").disabled = ports.length === 0;
  const build = byId("build");
  if (build.options.length === 0) {
    if (described !== null) build.append(new Option(`${text.keepRig}: ${described}`, ""));
    build.append(...builds.map((name) => new Option(text.builds[name] ?? name, name)));
  }
  showMount();
}

/** A mount is asked for where something hangs from it; a rig that is described has its own. */
function showMount() {
  byId("mount-box").hidden = ["", "platform"].includes(byId("build").value);
}
