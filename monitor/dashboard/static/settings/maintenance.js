// What belongs to the machine: network and passcodes, the data folder, backups, versions, the program's end.

import { ask, byId, element, tell } from "../lib/frame.js";
import { JobLines, sizeText } from "../lib/jobs.js";
import { fixed } from "../lib/numbers.js";
import { locale, words } from "../lib/words.js";

const text = words.prefs;
const PLACE_KEY = "backup place";

export async function showMaintenance(offers, principal) {
  const owner = principal.role === "owner";
  const state = await ask("/api/maintenance");
  byId("maintenance").hidden = false;
  showNetwork(state.network);
  showFolder(state);
  showPlace(state);
  if (offers.authorization && owner) {
    for (const role of ["coach", "owner"]) byId("passcode-role").add(new Option(words.role[role], role));
    byId("passcode-form").hidden = false;
    byId("passcode-form").addEventListener("submit", setPasscode);
    await showPasscodes();
    if (state.network?.passcodes === 0) byId("passcode-role").value = "owner"; // the first must be one
    await showDevices();
  }
  offerPolicy(state.policy, owner);
  await offerBackup(offers.jobs && owner);
  if (offers.power && owner) await offerPower();
}

function facts(id, rows) {
  byId(id).replaceChildren(
    ...rows
      .filter(([, value]) => value !== null)
      .flatMap(([name, value]) => [element("dt", "", name), element("dd", "", value)]),
  );
}

/** A sentence and the command that does what a page cannot. */
function command(id, sentence, line) {
  byId(id).replaceChildren(sentence, " ", element("code", "", line));
}

function dayText(utc_ms) {
  return new Date(utc_ms).toLocaleDateString(locale, { dateStyle: "medium" });
}

function timeText(utc_ms) {
  return new Date(utc_ms).toLocaleString(locale, { dateStyle: "medium", timeStyle: "short" });
}

function showNetwork(network) {
  if (network === null) return facts("network", [[text.served, text.servedHere]]);
  facts("network", [
    [text.served, network.beyond_this_machine ? text.servedNetwork : text.servedHere],
    [text.secure, network.beyond_this_machine ? (network.secure ? text.secureYes : text.secureNo) : null],
    [text.names, network.names.length > 0 ? network.names.join(", ") : null],
    [text.passcodes, network.passcodes === 0 ? text.passcodesNone : text.passcodesCount(network.passcodes)],
  ]);
  if (network.beyond_this_machine) command("network-do", text.networkOff, "hang-monitor run --host 127.0.0.1");
  else command("network-do", text.networkOn, "hang-monitor run --host 0.0.0.0");
}

async function showPasscodes() {
  const people = await ask("/api/passcodes");
  byId("passcodes").replaceChildren(
    ...people.map(({ name, role, since_utc_ms }) => {
      const line = element("li");
      const button = element("button", "", text.passcodeTake);
      button.type = "button";
      button.setAttribute("aria-label", text.passcodeTakeOf(name));
      button.addEventListener("click", () => askTwice(button, text.passcodeTakeSure(name), () => takePasscode(name)));
      line.append(element("span", "", text.passcodeOf(name, words.role[role], dayText(since_utc_ms))), button);
      return line;
    }),
  );
}

/** The first press asks, the second does; leaving the button takes the question back. */
function askTwice(button, question, act) {
  if (button.dataset.sure === "yes") return act();
  const before = button.textContent;
  button.dataset.sure = "yes";
  button.textContent = question;
  button.addEventListener(
    "blur",
    () => {
      button.dataset.sure = "";
      button.textContent = before;
    },
    { once: true },
  );
}

async function setPasscode(event) {
  event.preventDefault();
  const answer = byId("passcode-answer");
  const [name, secret, again] = ["passcode-name", "passcode", "passcode-again"].map(byId);
  if (name.value.trim() === "") return wanting(name, answer, text.passcodeName);
  if (secret.value.length < 8) return wanting(secret, answer, text.passcodeShort);
  if (secret.value !== again.value) return wanting(again, answer, text.passcodeDiffers);
  try {
    const first = byId("passcodes").childElementCount === 0;
    await ask(`/api/passcodes/${encodeURIComponent(name.value.trim())}`, {
      method: "PUT",
      body: { role: byId("passcode-role").value, passcode: secret.value },
    });
    tell(null);
    answer.textContent = text.passcodeDone(name.value.trim());
    secret.value = again.value = "";
    if (first)
      location.assign("/sign-in"); // from now on somebody must sign in, here too
    else await showPasscodes();
  } catch (error) {
    tell(error);
  }
}

function wanting(field, answer, sentence) {
  answer.textContent = sentence;
  field.focus();
}

async function takePasscode(name) {
  try {
    await ask(`/api/passcodes/${encodeURIComponent(name)}`, { method: "DELETE" });
    tell(null);
    byId("passcode-answer").textContent = text.passcodeTaken(name);
    await showPasscodes();
    await showDevices();
  } catch (error) {
    tell(error);
  }
}

async function showDevices() {
  const devices = await ask("/api/sign-ins");
  byId("devices-part").hidden = devices.length === 0;
  byId("devices").replaceChildren(
    ...devices.map(({ id, name, role, device, ends_utc_ms }) => {
      const line = element("li");
      const button = element("button", "", text.deviceOut);
      button.type = "button";
      button.setAttribute("aria-label", text.deviceOutOf(name, device));
      button.addEventListener("click", () =>
        ask(`/api/sign-ins/${id}`, { method: "DELETE" }).then(showDevices).catch(tell),
      );
      line.append(element("span", "", text.deviceOf(name, words.role[role], device, dayText(ends_utc_ms))), button);
      return line;
    }),
  );
}

function showFolder({ folder, room }) {
  facts("folder", [
    [text.folder, folder],
    [text.free, room === null ? text.roomNone : sizeText(room.free_bytes)],
    [text.curves, room === null ? null : sizeText(room.journal_bytes)],
    [text.database, room === null ? null : sizeText(room.database_bytes)],
    [text.perDay, room === null ? null : text.perDayOf(sizeText(room.per_day_bytes))],
    [text.lasts, room === null ? null : room.days_left === null ? text.lastsUnknown : lasting(room.days_left)],
  ]);
  byId("room-warnings").replaceChildren(...(room?.warnings ?? []).map((warning) => element("li", "", warning)));
}

function lasting(days) {
  return days > 3650 ? text.decade : days > 730 ? text.years(fixed(days / 365.25, 1)) : text.days(fixed(days, 0));
}

function offerPolicy(policy, owner) {
  const form = byId("policy-form");
  form.elements.oldest.value = policy.oldest;
  byId("keep-days").value = policy.keep_days;
  for (const field of form.elements) field.disabled = !owner;
  byId("policy-set").hidden = !owner;
  byId("policy-answer").textContent = owner ? "" : text.ownerOnly;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const days = byId("keep-days");
    if (!days.checkValidity()) return wanting(days, byId("policy-answer"), text.policyBad);
    try {
      await ask("/api/maintenance/policy", {
        method: "PUT",
        body: { oldest: form.elements.oldest.value, keep_days: days.valueAsNumber },
      });
      tell(null);
      byId("policy-answer").textContent = words.setSaved;
    } catch (error) {
      tell(error);
    }
  });
  form.hidden = false;
}

async function offerBackup(may) {
  command(
    "backup-do",
    may ? text.backupRestore : text.backupElsewhere,
    may ? "hang-monitor restore" : "hang-monitor backup",
  );
  if (!may) return;
  const into = byId("backup-into");
  try {
    into.value = localStorage.getItem(PLACE_KEY) ?? "";
  } catch {
    // Storage may be closed to this page; then the place is typed anew.
  }
  const jobs = new JobLines(
    byId("backup-jobs"),
    ({ kind }) => kind === "backup",
    ({ state }) => state === "done" && listBackups(),
  );
  await jobs.read();
  byId("backup-form").addEventListener("submit", async (event) => {
    event.preventDefault();
    const keep = byId("backup-keep");
    if (!into.value.startsWith("/")) return wanting(into, byId("backup-answer"), text.backupBad);
    if (!keep.checkValidity()) return wanting(keep, byId("backup-answer"), text.backupKeepBad);
    try {
      await jobs.start("backup", { into: into.value, keep: keep.valueAsNumber });
      tell(null);
      byId("backup-answer").textContent = "";
      try {
        localStorage.setItem(PLACE_KEY, into.value);
      } catch {
        // Then the place is typed anew next time.
      }
    } catch (error) {
      tell(error);
    }
  });
  byId("backup-list").addEventListener("click", () =>
    into.value.startsWith("/") ? listBackups() : wanting(into, byId("backup-answer"), text.backupBad),
  );
  byId("backup-form").hidden = false; // only now: what is typed stays, what is pressed is heard
}

async function listBackups() {
  try {
    const backups = await ask(`/api/maintenance/backups?at=${encodeURIComponent(byId("backup-into").value)}`);
    tell(null);
    byId("backup-answer").textContent = text.backupCount(backups.length);
    byId("backups").replaceChildren(
      ...backups.map(({ made_utc_ms, files, bytes }) =>
        element("li", "", text.backupOf(timeText(made_utc_ms), files, sizeText(bytes))),
      ),
    );
  } catch (error) {
    byId("backups").replaceChildren();
    tell(error);
  }
}

function showPlace({ versions, time_zone, utc_offset_s }) {
  const sign = utc_offset_s < 0 ? "−" : "+";
  const hours = fixed(Math.abs(utc_offset_s) / 3600, utc_offset_s % 3600 === 0 ? 0 : 2);
  facts("place", [
    [text.zone, utc_offset_s === 0 ? time_zone : `${time_zone} (UTC ${sign}${hours} h)`],
    [text.zonePeople, text.zonePeopleWhy],
    [text.version, versions.program],
    [text.measurement, String(versions.measurement)],
    ["Python", versions.python],
    ["SQLite", versions.sqlite],
  ]);
  command("place-do", text.zoneDo, "sudo timedatectl set-timezone Europe/Berlin");
}

async function offerPower() {
  const { actions, doing } = await ask("/api/power");
  byId("power-part").hidden = false;
  if (doing !== null) byId("power-answer").textContent = text.powerDoing[doing];
  let wanted = null;
  const askFirst = async (action) => {
    wanted = action;
    const { somebody_hangs } = await ask("/api/power");
    byId("power-ask").textContent = [text.powerSure[action], somebody_hangs ? text.powerHangs : ""]
      .filter(Boolean)
      .join(" ");
    byId("power-do").textContent = text.power[action];
    byId("power-form").dataset.although = String(somebody_hangs);
    byId("power-form").hidden = false;
    byId("power-do").focus();
  };
  byId("power").replaceChildren(
    ...actions.map((action) => {
      const button = element("button", "", `${text.power[action]} …`);
      button.type = "button";
      button.addEventListener("click", () => askFirst(action).catch(tell));
      return button;
    }),
  );
  byId("power-not").addEventListener("click", () => {
    byId("power-form").hidden = true;
    byId("power").querySelector("button").focus();
  });
  byId("power-form").addEventListener("submit", async (event) => {
    event.preventDefault();
    try {
      await ask("/api/power", {
        method: "POST",
        body: { action: wanted, although_somebody_hangs: byId("power-form").dataset.although === "true" },
      });
      tell(null);
      byId("power-form").hidden = true;
      byId("power").hidden = true;
      byId("power-answer").textContent = text.powerDoing[wanted];
    } catch (error) {
      tell(error);
    }
  });
}
