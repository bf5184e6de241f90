// The last holds, newest first.

import { holdMark } from "../lib/hold-mark.js";
import { cut, percent } from "../lib/numbers.js";
import { locale, notesOf, words } from "../lib/words.js";

const SHOWN = 12;

export class LastHolds {
  constructor(list, none) {
    this.list = list;
    this.none = none;
    this.latestRequest = 0;
    new ResizeObserver(() => this.trim()).observe(list);
  }

  /** Where the list has a fixed room, show whole rows only; the table of all holds has the rest. */
  trim() {
    for (const item of this.list.children) item.hidden = false;
    const room = this.list.getBoundingClientRect();
    const fixed =
      this.list.scrollHeight > this.list.clientHeight + 2 || this.list.scrollWidth > this.list.clientWidth + 2;
    if (!fixed) return;
    for (const item of [...this.list.children].reverse()) {
      const box = item.getBoundingClientRect();
      item.hidden = box.bottom > room.bottom + 2 || box.right > room.right + 2;
    }
  }

  /** Read the list anew; a later call overtakes an earlier one. */
  async refresh() {
    const request = ++this.latestRequest;
    let page;
    try {
      const answer = await fetch(`/api/holds?limit=${SHOWN}`);
      if (!answer.ok) throw new Error(String(answer.status));
      page = await answer.json();
    } catch {
      if (request === this.latestRequest && this.list.childElementCount === 0) this.tell(words.holdsFailed);
      return;
    }
    if (request !== this.latestRequest) return;
    this.list.replaceChildren(...page.holds.map(row));
    this.trim();
    this.tell(page.holds.length === 0 ? words.holdsNone : "");
  }

  tell(text) {
    this.none.textContent = text;
    this.none.hidden = text === "";
  }
}

function row(hold) {
  const result = hold.result;
  const item = element("li", "hold");
  item.dataset.uid = hold.uid;
  const text = element("div", "hold-text");
  const duration = element("p", "hold-time");
  const page = element("a", "");
  page.href = `/hold/${encodeURIComponent(hold.uid)}`;
  page.append(
    element("span", "digits", cut(result.duration_s, 0.1).shown),
    element("span", "unit", ` ${words.unit.second}`),
  );
  duration.append(page);
  text.append(duration, element("p", "hold-feet", feetText(result)), element("p", "hold-kind", kindText(result)));
  const when = new Date(hold.onset_utc_ms).toLocaleTimeString(locale, { hour: "2-digit", minute: "2-digit" });
  const curve = element("a", "hold-curve", words.holdCurve);
  curve.href = `/api/holds/${encodeURIComponent(hold.uid)}/curve.csv`;
  curve.setAttribute("download", "");
  curve.setAttribute("aria-label", words.holdCurveOf(when));
  const aside = element("p", "hold-when", when);
  aside.append(" ", curve);
  text.append(aside);
  if (result.flags.length > 0) text.append(element("p", "hold-flags", notesOf(hold).join("; ")));
  item.append(holdMark(result), text);
  return item;
}

function feetText(result) {
  const feet = percent(result.alpha_mean, result.alpha_u);
  if (!feet) return words.feetUnknown;
  const share = words.feetShare(feet.about === null ? feet.shown : `${feet.shown} ± ${feet.about}`);
  return result.alpha_direct ? share : `${share}, ${words.inferred}`;
}

function kindText(result) {
  return [words.support[result.support], words.kind[result.kind]].filter(Boolean).join(", ");
}

function element(name, className, text = "") {
  const node = document.createElement(name);
  node.className = className;
  node.textContent = text;
  return node;
}
