// Small helpers for drawings in SVG.

const SVG = "http://www.w3.org/2000/svg";

export function svg(name, attributes = {}, ...children) {
  const node = document.createElementNS(SVG, name);
  set(node, attributes);
  node.append(...children);
  return node;
}

const SET = Symbol("attributes as they were set last");

/** Set attributes; null takes one away. Unchanged values are left alone, unasked: most are, 20 times a second. */
export function set(node, attributes) {
  const last = (node[SET] ??= {});
  for (const name in attributes) {
    let value = attributes[name];
    if (typeof value === "number") value = Math.round(value * 100) / 100;
    if (last[name] === value) continue;
    last[name] = value;
    const text = value === null ? null : String(value);
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
