// Small helpers for drawings in SVG.

const SVG = "http://www.w3.org/2000/svg";

export function svg(name, attributes = {}, ...children) {
  const node = document.createElementNS(SVG, name);
  set(node, attributes);
  node.append(...children);
  return node;
}

/** Set attributes; null takes one away. Unchanged values are left alone: most are, 20 times a second. */
export function set(node, attributes) {
  for (const [name, value] of Object.entries(attributes)) {
    const text = value === null ? null : typeof value === "number" ? String(Math.round(value * 100) / 100) : String(value);
    if (node.getAttribute(name) === text) continue;
    if (text === null) node.removeAttribute(name);
    else node.setAttribute(name, text);
  }
}

export function show(node, visible) {
  set(node, { visibility: visible ? "visible" : "hidden" });
}

export function say(node, text) {
  if (node.textContent !== text) node.textContent = text;
}
