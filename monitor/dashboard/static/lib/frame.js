// What every sheet has in common: its words, the line of pages, the light, and errors in three sentences.

import { chooseTheme } from "./theme-choice.js";
import { useGravity } from "./units.js";
import { locale, translateError, words } from "./words.js";

/**
 * The node with this id. Which kind of element it is stands in the markup, which the type check does not read.
 * @param {string} id
 * @returns {any}
 */
export const byId = (id) => document.getElementById(id);

/** Fill in the words that the markup names: `data-word` is a path into `words`, `data-label` one for a label. */
export function fillWords(root = document) {
  const at = (path) => path.split(".").reduce((part, key) => part[key], words);
  for (const node of /** @type {NodeListOf<HTMLElement>} */ (root.querySelectorAll("[data-word]")))
    node.textContent = at(node.dataset.word);
  for (const node of /** @type {NodeListOf<HTMLElement>} */ (root.querySelectorAll("[data-label]")))
    node.setAttribute("aria-label", at(node.dataset.label));
}

/** Write the one quiet line that leads to every page; `here` is the page it stands on. */
export function fillPages(nav, here) {
  nav.setAttribute("aria-label", words.pages.title);
  nav.replaceChildren(
    ...Object.entries(words.pages.names).map(([address, name]) => {
      const link = element("a", "", name);
      link.href = address;
      if (address === here) link.setAttribute("aria-current", "page");
      return link;
    }),
  );
}

/** Make a sheet's frame; returns the rig's card, null when the program is not reached. */
export async function frame(here, onLight = () => {}) {
  reportPageErrors();
  fillWords();
  fillPages(byId("pages"), here);
  chooseTheme(byId("theme"), onLight);
  const name = words.pages.names[here];
  if (name) document.title = `${words.product}: ${name}`;
  try {
    const rig = await ask("/api/rig");
    useGravity(rig.gravity_m_s2);
    byId("rig-name").textContent = rig.name;
    byId("rig-invented").textContent = rig.invented ? words.invented : "";
    byId("rig-invented").hidden = !rig.invented;
    return rig;
  } catch (error) {
    tell(error);
    return null;
  }
}

/** Report a page's own mistakes, too: its contents stay, and the console has the details. */
export function reportPageErrors(report = tell) {
  /** @param {any} event an error, or a promise that nobody handled */
  const listener = ({ error, reason }) => {
    const mistake = error ?? reason;
    if (!byId("notice") || !(mistake instanceof Error) || mistake instanceof ProgramError) return; // late layout is no mistake
    report(new ProgramError(words.pageBroke));
  };
  addEventListener("error", listener);
  addEventListener("unhandledrejection", listener);
}

/** An error as the program reports it: what happened, what it means, what to do. */
export class ProgramError extends Error {
  constructor(error) {
    const own = translateError(error.code);
    const { what, means, do: then } = own ?? error;
    super(what);
    // What the language has no words for (names and numbers of this case) stands beside it as the program said it.
    this.what = what;
    this.means = means;
    this.then = then;
    this.code = error.code;
    this.said = own === null ? null : error.what;
  }
}

/**
 * Ask for JSON; throws `ProgramError`, also when the program is not reached.
 * @param {string} path
 * @param {{method?: string, body?: unknown}} request
 * @returns {Promise<any>}
 */
export async function ask(path, { method = "GET", body } = {}) {
  /** @type {RequestInit} */
  const options = { method };
  if (body !== undefined)
    Object.assign(options, { headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
  let answer;
  try {
    answer = await fetch(path, options);
  } catch {
    throw new ProgramError(words.notReached);
  }
  const content = await answer.json().catch(() => null);
  if (answer.ok) return content;
  throw new ProgramError(content?.error ?? { ...words.notReached, what: words.strangeAnswer(answer.status) });
}

/** Show an error above the sheet; null takes it away. */
export function tell(error) {
  const notice = byId("notice");
  notice.hidden = error === null;
  if (error !== null && !(error instanceof ProgramError)) throw error; // a mistake of the page is for the console
  byId("notice-what").textContent = error?.what ?? "";
  byId("notice-do").textContent = [error?.means, error?.then].filter(Boolean).join(" ");
  if (error?.said) byId("notice-do").append(" ", inEnglish(error.said));
}

/** A sentence of the program that has no translation: marked for those who hear the page, and for those who read it. */
export function inEnglish(said) {
  const node = element("q", "", said);
  node.lang = "en";
  return node;
}

/**
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} name
 * @returns {HTMLElementTagNameMap[K]}
 */
export function element(name, className = "", text = "") {
  const node = document.createElement(name);
  if (className) node.className = className;
  node.textContent = text;
  return node;
}

/**
 * When a hold was, in the time of the place where it was made.
 * @param {Intl.DateTimeFormatOptions} style
 */
export function whenOf(hold, style = { dateStyle: "medium", timeStyle: "short" }) {
  const here = hold.utc_offset_s === null;
  const date = new Date(hold.onset_utc_ms + (here ? 0 : hold.utc_offset_s * 1000));
  return new Intl.DateTimeFormat(locale, { ...style, ...(here ? {} : { timeZone: "UTC" }) }).format(date);
}
