// Day, night, or as the device says; kept for this screen.

import { words } from "./words.js";

export function chooseTheme(select, onChange) {
  const root = document.documentElement;
  for (const [value, text] of Object.entries(words.themes)) select.add(new Option(text, value));
  select.value = root.dataset.theme ?? "device";
  select.addEventListener("change", () => {
    if (select.value === "device") delete root.dataset.theme;
    else root.dataset.theme = select.value;
    try {
      localStorage.setItem("theme", select.value);
    } catch {
      // Without storage the choice lasts until the page is loaded again.
    }
    onChange();
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", onChange);
}
