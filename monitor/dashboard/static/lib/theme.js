// Before the first paint: day or night, as last chosen on this screen. Not a module, so that nothing flashes.
(() => {
  let chosen = null;
  try {
    chosen = localStorage.getItem("theme");
  } catch {
    // Storage may be closed to this page; then the device decides.
  }
  // A page that did not arrive whole says so itself; its words have not arrived either.
  addEventListener(
    "error",
    ({ target }) => {
      if (!(target instanceof HTMLScriptElement)) return;
      const notice = document.createElement("p");
      notice.className = "notice";
      notice.setAttribute("role", "alert");
      notice.textContent = "This page did not arrive whole. Nothing was changed. Load it again. ";
      const german = document.createElement("span");
      german.lang = "de";
      german.textContent = "Diese Seite kam nicht vollständig an. Es wurde nichts geändert. Bitte neu laden.";
      notice.append(german);
      document.body.prepend(notice);
    },
    true,
  );
  if (chosen === "day" || chosen === "night") document.documentElement.dataset.theme = chosen;
})();
