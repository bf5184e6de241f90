// Before the first paint: day or night, as last chosen on this screen. Not a module, so that nothing flashes.
(() => {
  let chosen = null;
  try {
    chosen = localStorage.getItem("theme");
  } catch {
    // Storage may be closed to this page; then the device decides.
  }
  if (chosen === "day" || chosen === "night") document.documentElement.dataset.theme = chosen;
})();
