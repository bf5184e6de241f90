// The words of the language chosen for this screen: kept there, else the browser's own, else English.

import { words as en } from "./words/en.js";

export const languages = { en };

/** The two letters of the language in force. */
export const language = chosenLanguage();

export const words = languages[language];
document.documentElement.lang = language;

export function partName(name) {
  return words.partNames[name] ?? name.replaceAll("_", " ");
}

function chosenLanguage() {
  let kept = null;
  try {
    kept = localStorage.getItem("language");
  } catch {
    // Storage may be closed to this page; then the browser's languages decide.
  }
  const known = [kept, ...navigator.languages.map((tag) => tag.slice(0, 2))].find((tag) => tag in languages);
  return known ?? "en";
}
