// Sign-in: asks for a code on the wall screen, or sends a passcode; what comes back is a cookie that no script can read.

import { byId, fillWords } from "../lib/frame.js";
import { translateError, words } from "../lib/words.js";

const text = words.signIn;
fillWords();
document.title = `${words.product}: ${text.title}`;

/** Send a change; null when it was done, else what to tell the person. */
async function send(path, body) {
  try {
    const options = { method: "POST" };
    if (body !== undefined) {
      options.headers = { "Content-Type": "application/json" };
      options.body = JSON.stringify(body);
    }
    const reply = await fetch(path, options);
    if (reply.ok) return null;
    const { error } = await reply.json();
    const own = translateError(error.code) ?? error;
    return `${own.what} ${own.do}`;
  } catch {
    return text.mute;
  }
}

async function goIn(answer, path, body) {
  answer.textContent = "";
  const problem = await send(path, body);
  if (problem === null) location.assign("/");
  else answer.textContent = problem;
}

byId("ask").addEventListener("click", async () => {
  const answer = byId("look-answer");
  answer.textContent = "";
  const problem = await send("/api/pairing");
  if (problem !== null) {
    answer.textContent = problem;
    return;
  }
  byId("ask").textContent = text.askAgain;
  byId("code-form").hidden = false;
  byId("code").focus();
});

byId("code-form").addEventListener("submit", (event) => {
  event.preventDefault();
  goIn(byId("look-answer"), "/api/pairing/code", { code: byId("code").value });
});

byId("passcode-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const body = { name: byId("name").value, passcode: byId("passcode").value };
  byId("passcode").value = "";
  goIn(byId("work-answer"), "/api/sign-in", body);
});

byId("sign-out").addEventListener("click", async () => {
  await send("/api/sign-out");
  location.reload();
});

const reply = await fetch("/api/principal");
if (reply.ok) {
  const principal = await reply.json();
  byId("sign-out").hidden = !principal.signed_in;
  if (principal.signed_in)
    byId("principal").textContent = text.signedIn(principal.name, words.role[principal.role] ?? principal.role);
  else if (!principal.passcodes) byId("principal").textContent = text.nobody;
}
