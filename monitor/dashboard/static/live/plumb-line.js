// The measurement as a plumb line: its whole length is the bodyweight, from the bar down to the floor.
//
// One horizontal scale serves the bob, the offset and the shoulders: a degree of swing is drawn as long as 20 mm, what
// a centre of mass about 1.1 m below the bar moves by. The ring around the resting place has the radius of the still band.

import { say, set, show, svg } from "../lib/drawing.js";
import { cut, percent } from "../lib/numbers.js";
import { words } from "../lib/words.js";

const MM_PER_DEGREE = 20;
const SURE = 0.9; // below it the shoulders are drawn dashed
const LETTER_EM = 0.55; // room for a letter of a bold sans
const SMALLEST = 0.75; // rather out of the drawing than too small to read
const BACK_TO_FINE = 0.005; // the word does not flicker while the mark sits on the edge of the hatching

export class PlumbLine {
  constructor(root, { stillBand_deg = 1, hasPlatform = true } = {}) {
    this.root = root;
    this.stillBand_deg = stillBand_deg;
    this.hasPlatform = hasPlatform;
    this.band = null;
    this.short = null;
    this.verdict = null;
    this.fitted = new Map();
    this.picture = null;
    this.parts = build(root);
    new ResizeObserver(() => this.resize()).observe(root);
    this.resize();
  }

  resize() {
    const { width, height } = this.root.getBoundingClientRect();
    const em = parseFloat(getComputedStyle(this.root).fontSize);
    const top = Math.round(em * 0.75);
    const floor = Math.round(height - em * 1.1);
    const narrow = width < em * 13;
    const x = Math.round(Math.min(width * (narrow ? 0.44 : 0.36), em * 7.2));
    this.at = { width, height, em, x, top, floor, length: Math.max(0, floor - top), narrow };
    const step = em * 0.5;
    set(this.parts.hatch, { width: step, height: step });
    set(this.parts.hatch.firstChild, { d: `M0 0V${step}` });
    set(this.root, { viewBox: `0 0 ${Math.max(1, width)} ${Math.max(1, height)}` });
    this.draw(this.picture);
  }

  /** @param band requested assistance (shares), null for none  @param short the load would end the hold too early */
  setBand(band, short) {
    this.short = short;
    if (this.band?.low === band?.low && this.band?.high === band?.high) return;
    this.band = band;
    this.draw(this.picture);
  }

  /** Draw a picture of the feed, null for none. */
  draw(picture) {
    this.picture = picture;
    const p = this.parts;
    const { x, top, floor, em, width } = this.at;
    set(p.bar, { x1: 0, x2: Math.min(width, x * 2), y1: top, y2: top, "stroke-width": em * 0.42 });
    set(p.floor, { x1: 0, x2: Math.min(width, x * 2), y1: floor, y2: floor, "stroke-width": em * 0.12 });
    this.drawAllowed();
    const scene = picture?.scene ?? "waiting";
    const someone = picture?.ofHold || ["standing", "leaning", "hanging", "let_go"].includes(scene);
    this.drawDivision(someone ? picture : null);
    this.drawBob(scene === "hanging" ? picture : null);
    this.drawShoulders(scene === "hanging" ? picture : null);
    const due = picture && someone && picture.bodyweight_N === null;
    this.writeLines(p.weigh, due ? words.standStill : [], x + em * 2, top + this.at.length * 0.5);
  }

  drawAllowed() {
    const p = this.parts;
    const { x, floor, length, em } = this.at;
    const known = this.band !== null;
    show(p.allowed, known);
    show(p.allowedEdge, known);
    show(p.allowedText, known);
    if (!known) return;
    const half = em * 1.5;
    const height = length * Math.min(1, this.band.high);
    const foot = length * Math.min(1, this.band.low);
    set(p.allowed, { x: x - half, y: floor - height, width: 2 * half, height: height - foot });
    set(p.allowedEdge, { x1: x - half, x2: x + half, y1: floor - height, y2: floor - height });
    set(p.allowedText, {
      x: x - half - em * 0.4,
      y: Math.min(floor - height + em * 0.35, floor - em * 0.4),
      "text-anchor": "end",
    });
    say(p.allowedText, `${Math.round(this.band.high * 100)} %`);
  }

  /** The word for where there is no room beside the mark; empty where there is. */
  wordElsewhere() {
    if (!this.at.narrow) return "";
    const lines = surplusLines(this.picture);
    return (lines.length > 0 ? lines : verdictLines(this.judge(this.picture))).join(" ");
  }

  /**
   * Returns "fine", "lighter", "more" or null: where the mark sits against the hatching. Less assistance than requested is
   * only worth a word where the present load would end the hold before its target.
   */
  judge(picture) {
    if (
      !picture ||
      picture.misclosure_open ||
      picture.surplus !== null ||
      picture.scene !== "hanging" ||
      picture.alpha === null ||
      this.band === null
    ) {
      this.verdict = null; // no number is good while the account is open
      return null;
    }
    const { low, high } = this.band;
    const slack = (verdict) => (this.verdict === verdict ? BACK_TO_FINE : 0);
    if (picture.alpha > high - slack("lighter")) this.verdict = "lighter";
    else if (low > 0 && this.short !== false && picture.alpha < low + slack("more")) this.verdict = "more";
    else this.verdict = "fine";
    return this.verdict;
  }

  drawDivision(picture) {
    const p = this.parts;
    const { x, top, floor, length, em } = this.at;
    const known = picture !== null && picture.alpha !== null && picture.beta !== null;
    for (const part of [p.hands, p.feetLeft, p.feetRight, p.mark, p.band]) show(part, known);
    show(p.idle, !known);
    const verdict = this.judge(picture);
    set(p.idle, { x1: x, x2: x, y1: top, y2: floor });
    if (!known) {
      for (const part of [p.gapTop, p.gapBottom]) show(part, false);
      this.writeLines(p.word, [], 0, 0);
      const lines = this.at.narrow ? [] : surplusLines(picture);
      this.writeLines(p.gap, lines, x + em * 2.5, top + length * 0.5);
      return;
    }
    const alpha = clamp(picture.alpha, 0, 1);
    const open = picture.misclosure_open && picture.alpha_direct;
    const markY = floor - length * alpha;
    const handsEnd = open ? top + length * clamp(picture.beta, 0, 1) : markY;
    const apart = em * 0.2;
    set(p.hands, { x1: x, x2: x, y1: top, y2: handsEnd, "stroke-width": em * 0.3 });
    const dash = picture.alpha_direct ? null : `${em * 0.35} ${em * 0.3}`;
    for (const [part, side] of [
      [p.feetLeft, -1],
      [p.feetRight, 1],
    ])
      set(part, {
        x1: x + side * apart,
        x2: x + side * apart,
        y1: markY,
        y2: floor,
        "stroke-width": em * 0.13,
        "stroke-dasharray": dash,
      });
    const u = length * Math.min(0.5, picture.u_alpha ?? 0);
    set(p.band, { x: x - em * 2, width: em * 4, y: markY - u, height: 2 * u });
    set(p.mark, { x1: x - em * 2, x2: x + em * 2, y1: markY, y2: markY, "stroke-width": em * 0.22 });
    this.drawGap(open ? picture.misclosure : null, handsEnd, markY);
    set(p.word, { "data-verdict": verdict });
    this.writeLines(p.word, this.at.narrow ? [] : verdictLines(verdict), x + em * 2.5, markY);
  }

  drawGap(misclosure, handsEnd, markY) {
    const p = this.parts;
    const { x, em, length } = this.at;
    const open = misclosure !== null && misclosure !== undefined;
    for (const part of [p.gapTop, p.gapBottom]) show(part, open);
    if (!open) {
      this.writeLines(p.gap, [], 0, 0);
      return;
    }
    const size = Math.round(Math.abs(misclosure) * 100);
    const [upper, lower] = handsEnd <= markY ? [handsEnd, markY] : [markY, handsEnd];
    set(p.gapTop, { x1: x - em * 1.1, x2: x + em * 1.1, y1: upper, y2: upper });
    set(p.gapBottom, { x1: x - em * 1.1, x2: x + em * 1.1, y1: lower, y2: lower });
    const y = Math.min((upper + lower) / 2, markY - em * 3.4, this.at.top + length - em * 6);
    const lines = misclosure < 0 ? words.missing(size) : words.surplus(size);
    const narrow = this.at.narrow ? lines[0].split(/ (?=\S+$)/) : lines;
    this.writeLines(p.gap, narrow, x + em * (this.at.narrow ? 1.4 : 2.5), y);
  }

  drawBob(picture) {
    const p = this.parts;
    const { x, top, length, em } = this.at;
    const parts = [p.ring, p.bob, p.string, p.swingLeft, p.swingRight, p.ghostLeft, p.ghostRight, p.arc];
    if (picture === null) {
      for (const part of parts) show(part, false);
      return;
    }
    const radius = em * 1.25;
    const perDegree = radius / this.stillBand_deg;
    const room = x - em * 0.5;
    const y = top + length * 0.5;
    const offset = clamp((((picture.lateral_m ?? 0) * 1000) / MM_PER_DEGREE) * perDegree, -room, room);
    const known = picture.still !== null;
    show(p.ring, true);
    set(p.ring, { cx: x, cy: y, r: radius, "stroke-dasharray": known ? null : `${em * 0.3} ${em * 0.3}` });
    show(p.bob, true);
    set(p.bob, { cx: x + offset, cy: y, r: em * 0.52, "data-still": picture.still });
    show(p.string, Math.abs(offset) > 1);
    set(p.string, { x1: x, x2: x + offset, y1: top, y2: y });
    const amplitude = Math.min((picture.swing_deg ?? 0) * perDegree, room);
    const swings = picture.swing_deg !== null && amplitude > 1.5;
    for (const part of [p.swingLeft, p.swingRight, p.ghostLeft, p.ghostRight, p.arc]) show(part, swings);
    if (!swings) return;
    const lift = (amplitude * amplitude) / (2 * (y - top));
    for (const [line, ghost, side] of [
      [p.swingLeft, p.ghostLeft, -1],
      [p.swingRight, p.ghostRight, 1],
    ]) {
      const endX = clamp(x + offset + side * amplitude, 2, this.at.width - 2);
      set(line, { x1: x, x2: endX, y1: top, y2: y - lift });
      set(ghost, { cx: endX, cy: y - lift, r: em * 0.36 });
    }
    set(p.arc, {
      d: `M${x + offset - amplitude} ${y - lift}Q${x + offset} ${y + lift} ${x + offset + amplitude} ${y - lift}`,
    });
  }

  drawShoulders(picture) {
    const p = this.parts;
    const { x, top, length, em } = this.at;
    const known = picture !== null && picture.shoulders !== null;
    for (const part of [p.shoulders, p.rest]) show(part, known);
    if (!known) {
      show(p.travel, false);
      this.writeLines(p.shoulderText, [], 0, 0);
      return;
    }
    const rest = top + Math.max(em * 2.1, length * 0.1);
    const perMm = (em * 1.25) / this.stillBand_deg / MM_PER_DEGREE;
    const travel = clamp((picture.travel_mm ?? 0) * perMm, -em, length * 0.25);
    const sure = (picture.shoulders_certainty ?? 0) >= SURE;
    const half = em * 2.1;
    set(p.rest, { x1: x - half, x2: x + half, y1: rest, y2: rest });
    set(p.shoulders, {
      x1: x - half,
      x2: x + half,
      y1: rest + travel,
      y2: rest + travel,
      "stroke-width": em * 0.26,
      "stroke-dasharray": sure ? null : `${em * 0.5} ${em * 0.35}`,
    });
    const moved = Math.abs(travel) > 2;
    show(p.travel, moved);
    set(p.travel, { x1: x + half, x2: x + half, y1: rest, y2: rest + travel });
    const mm = cut(picture.travel_mm, null);
    const lines = this.at.narrow ? [] : [shouldersText(picture)];
    if (moved && mm) lines.push(words.travel(mm.shown));
    this.writeLines(p.shoulderText, lines, x + half + em * 0.5, rest + travel / 2);
  }

  /** Write lines of text to the right of the line, centred on y, kept inside the drawing. */
  writeLines(node, lines, x, y) {
    show(node, lines.length > 0);
    if (lines.length === 0) return;
    const size = this.fit(node, lines, x);
    const step = size * 1.06;
    const height = step * lines.length;
    const first =
      clamp(y - height / 2, this.at.top + this.at.em * 0.6, this.at.floor - height - size * 0.05) + size * 0.82;
    while (node.childNodes.length > lines.length) node.lastChild.remove();
    while (node.childNodes.length < lines.length) node.append(svg("tspan"));
    lines.forEach((line, i) => {
      set(node.childNodes[i], { x, y: first + i * step });
      say(node.childNodes[i], line);
    });
  }

  /** Size of letters at which the longest line still fits between x and the edge. */
  fit(node, lines, x) {
    const key = `${lines.join("|")} ${x} ${this.at.width} ${this.at.em}`;
    const known = this.fitted.get(node);
    if (known?.key === key) return known.size;
    const size = this.measure(node, lines, x);
    this.fitted.set(node, { key, size });
    return size;
  }

  /** Asks the browser for the letters' size: it must lay out the page for that, so only when something has changed. */
  measure(node, lines, x) {
    node.style.fontSize = "";
    const size = parseFloat(getComputedStyle(node).fontSize);
    const longest = Math.max(...lines.map((line) => line.length));
    const fitting = Math.min(size, Math.max(SMALLEST * size, (this.at.width - x) / (longest * LETTER_EM)));
    node.style.fontSize = `${fitting}px`;
    return fitting;
  }

  /** The drawing in one sentence, for those who listen. */
  describe() {
    const picture = this.picture;
    if (!picture) return words.scene.waiting;
    const said = [words.scene[picture.scene]];
    const hands = percent(picture.beta, picture.u_beta);
    const feet = percent(picture.alpha, picture.u_alpha);
    if (hands) said.push(`${words.hands} ${hands.shown} %${picture.beta_inferred ? `, ${words.inferred}` : ""}`);
    if (feet) said.push(`${words.feet} ${feet.shown} %${picture.alpha_direct ? "" : `, ${words.inferred}`}`);
    const verdict = this.judge(picture);
    if (verdict) said.push(verdictLines(verdict).join(" "));
    if (picture.shoulders !== null) said.push(shouldersText(picture));
    if (picture.still !== null) said.push(picture.still ? words.still : words.swinging);
    if (picture.surplus !== null) {
      said.push(surplusLines(picture).join(" "));
    } else if (picture.misclosure_open && picture.misclosure !== null) {
      const size = Math.round(Math.abs(picture.misclosure) * 100);
      said.push((picture.misclosure < 0 ? words.missing(size) : words.surplus(size)).join(", "));
    }
    return said.join(", ");
  }
}

function shouldersText(picture) {
  const text = words.shoulders[picture.shoulders];
  return (picture.shoulders_certainty ?? 0) >= SURE ? text : `${words.unsure} ${text}`;
}

/** Whoever else is on the rig: no share is the person's then. */
function surplusLines(picture) {
  return picture === null || picture.surplus === null ? [] : words.surplusLoad;
}

function verdictLines(verdict) {
  return verdict === null ? [] : [words.help[verdict]].flat();
}

function build(root) {
  const hatch = svg(
    "pattern",
    { id: "hatch", patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
    svg("path", { class: "hatch-line" }),
  );
  root.append(svg("defs", {}, hatch));
  const parts = { hatch };
  const add = (name, kind, className) => {
    parts[name] = svg(kind, { class: className });
    root.append(parts[name]);
  };
  add("allowed", "rect", "allowed");
  add("allowedEdge", "line", "allowed-edge");
  add("allowedText", "text", "small feet-ink");
  add("band", "rect", "band");
  add("swingLeft", "line", "fan");
  add("swingRight", "line", "fan");
  add("string", "line", "fan");
  add("arc", "path", "fan");
  add("idle", "line", "idle");
  add("hands", "line", "hands-line");
  add("feetLeft", "line", "feet-line");
  add("feetRight", "line", "feet-line");
  add("gapTop", "line", "gap-line");
  add("gapBottom", "line", "gap-line");
  add("bar", "line", "ink-line");
  add("floor", "line", "ink-line");
  add("rest", "line", "rest");
  add("travel", "line", "rest");
  add("shoulders", "line", "ink-line");
  add("mark", "line", "ink-line");
  add("ring", "circle", "ring");
  add("ghostLeft", "circle", "ghost");
  add("ghostRight", "circle", "ghost");
  add("bob", "circle", "bob");
  add("word", "text", "verdict");
  add("gap", "text", "gap-text");
  add("shoulderText", "text", "small");
  add("weigh", "text", "verdict quiet-ink");
  return parts;
}

function clamp(value, low, high) {
  return Math.max(low, Math.min(high, value));
}
