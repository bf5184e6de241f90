// People: who there is, who is at the bar now, and somebody new.

import { ask, byId, element, frame, tell } from "../lib/frame.js";
import { words } from "../lib/words.js";

const text = words.people;

start();

async function start() {
  if ((await frame("/people")) === null) return;
  try {
    const { coaching } = await ask("/api/screens");
    byId("all").hidden = !coaching;
    if (!coaching) return say(text.noCoaching);
    byId("guest").addEventListener("click", () => take(null));
    byId("add").addEventListener("submit", add);
    await refresh();
  } catch (error) {
    tell(error);
  }
}

function say(message) {
  byId("none").textContent = message;
  byId("none").hidden = message === "";
}

async function refresh() {
  const [people, who] = await Promise.all([ask("/api/people"), ask("/api/who")]);
  say(people.length === 0 ? text.none : "");
  byId("who").textContent = text.hangs(who.name);
  byId("list").replaceChildren(
    ...people.map((person) => {
      const line = element("li");
      const link = element("a", "", person.name);
      link.href = `/person/${encodeURIComponent(person.uid)}`;
      const button = element("button", "", text.take);
      button.type = "button";
      button.setAttribute("aria-label", text.takeOf(person.name));
      button.setAttribute("aria-pressed", String(person.uid === who.person_uid));
      button.addEventListener("click", () => take(person.uid));
      line.append(link, button);
      return line;
    }),
  );
}

async function take(person_uid) {
  try {
    await ask("/api/who", { method: "PUT", body: { person_uid } });
    tell(null);
    await refresh();
  } catch (error) {
    tell(error);
  }
}

async function add(event) {
  event.preventDefault();
  const name = byId("name").value.trim();
  if (name === "") return byId("name").focus();
  try {
    const { timeZone } = Intl.DateTimeFormat().resolvedOptions();
    await ask("/api/people", { method: "POST", body: { name, time_zone: timeZone ?? "UTC" } });
    tell(null);
    byId("name").value = "";
    byId("answer").textContent = text.added(name);
    await refresh();
  } catch (error) {
    tell(error); // the form stays filled in
  }
}
