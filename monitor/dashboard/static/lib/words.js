// The words of the language chosen for this screen: kept there, else the browser's own, else English.

import { words as de } from "../words/de.js";
import { words as en } from "../words/en.js";
import { findings as findingsDe } from "../words/findings-de.js";
import { messages as messagesDe } from "../words/program-messages-de.js";

export const languages = { en, de };

/** Each language by its own name. */
export const languageNames = { en: "English", de: "Deutsch" };

/** The two letters of the language in force. */
export const language = chosenLanguage();

/** The language with the country that the browser names: dates and numbers are written by it. */
export const locale = navigator.languages.find((tag) => tag.slice(0, 2) === language) ?? language;

export const words = languages[language];

/** What stands between a number and its decimals. */
export const MARK = new Intl.NumberFormat(locale).formatToParts(1.5).find(({ type }) => type === "decimal").value;
document.documentElement.lang = language;

const SENTENCES = /(?<=[.!?])\s+(?=[A-Z\d])/;

/** What the program tells, where this language has its own words for it; the program speaks English. */
const messages = { de: messagesDe }[language] ?? { errors: {}, flags: {}, names: {}, questions: {}, phrases: [] };

export function partName(name) {
  return words.partNames[name] ?? name.replaceAll("_", " ");
}

/** The three sentences of an error that has a code; null where this language has none. */
export function translateError(code) {
  return messages.errors[code] ?? null;
}

/** A note of the measurement by its flag; `otherwise` is the program's own sentence. */
export function translateFlag(flag, otherwise) {
  return messages.flags[flag] ?? otherwise;
}

/** All notes of a hold. */
export function notesOf(hold) {
  return hold.result.flags.map((flag, i) => translateFlag(flag, hold.notes?.[i] ?? flag));
}

/** A key that the program names (a place, a symptom, an answer). */
export function translateName(key) {
  return messages.names[key] ?? key.replaceAll("_", " ");
}

/** A question of the intake. */
export function translateQuestion(key, otherwise) {
  return messages.questions[key] ?? otherwise;
}

/** What the program says in sentences (reasons, pauses), each by itself; an unknown one stays in English. */
export function translateSentences(text) {
  if (!text || messages.phrases.length === 0) return text;
  const whole = phrase(text);
  if (whole !== null) return whole;
  return text
    .split(SENTENCES)
    .map((sentence) => phrase(sentence) ?? sentence)
    .join(" ");
}

/** A finding of a check or calibration in this language, sentence by sentence; null where it has no words for one of them. */
export function translateFinding(text) {
  if (language === "en") return text;
  const list = { de: findingsDe }[language]?.(partName, inOwnMark) ?? [];
  const own = (phrase(text, list) !== null ? [text] : text.split(SENTENCES)).map((one) => phrase(one, list));
  return own.includes(null) ? null : own.join(" ");
}

/** A title that the program brings along (a template, its items). */
export function translateTitle(title) {
  return messages.names[title] ?? title;
}

/** A number as the program writes it, with the decimal mark of the language. */
function inOwnMark(part) {
  return /^[+-]?\d+\.\d+$/.test(part ?? "") ? part.replace(".", MARK) : part;
}

function phrase(sentence, list = messages.phrases) {
  for (const [pattern, write] of list) {
    const match = pattern.exec(sentence);
    if (match !== null) return write(...match.slice(1).map(inOwnMark));
  }
  return null;
}

function chosenLanguage() {
  let stored = null;
  try {
    stored = localStorage.getItem("language");
  } catch {
    // Storage may be closed to this page; then the browser's languages decide.
  }
  const known = [stored, ...navigator.languages.map((tag) => tag.slice(0, 2))].find((tag) => tag in languages);
  return known ?? "en";
}
