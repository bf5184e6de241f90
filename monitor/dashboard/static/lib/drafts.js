// Drafts: what is typed into a form stays in this tab until it is sent, even over a reload.

/** Save a form's fields under a name, and restore them. Returns {clear, restored, putBack}: the last for fields that come later. */
export function keepDraft(form, key) {
  const name = `draft ${key}`;
  const putBack = () => {
    const draft = read(name);
    if (draft !== null) fill(form, draft);
    return draft !== null;
  };
  const restored = putBack();
  form.addEventListener("input", () => write(name, content(form)));
  form.addEventListener("change", () => write(name, content(form)));
  return { restored, putBack, clear: () => write(name, null) };
}

/** The fields that have a name, as [name, value] pairs; boxes and choices count only while they are chosen. */
export function content(form) {
  return [...form.elements]
    .filter((field) => field.name && (!["checkbox", "radio"].includes(field.type) || field.checked))
    .map((field) => [field.name, field.value]);
}

export function fill(form, pairs) {
  for (const field of form.elements) {
    if (!field.name) continue;
    const values = pairs.filter(([name]) => name === field.name).map(([, value]) => value);
    if (["checkbox", "radio"].includes(field.type)) field.checked = values.includes(field.value);
    else if (values.length > 0) field.value = values[0];
  }
}

function read(name) {
  try {
    return JSON.parse(sessionStorage.getItem(name));
  } catch {
    return null; // storage may be closed to this page
  }
}

function write(name, pairs) {
  try {
    if (pairs === null) sessionStorage.removeItem(name);
    else sessionStorage.setItem(name, JSON.stringify(pairs));
  } catch {
    // Without storage a draft lives as long as the page.
  }
}
