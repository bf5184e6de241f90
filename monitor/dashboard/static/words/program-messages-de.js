// What the program itself tells (errors, notes of the measurement, reasons), in German. It tells them in English with
// a code; where there is no German for one, the program's own sentence is shown and marked as English.

import { errors } from "./errors-de.js";

const flags = {
  alpha_inferred: "Hilfe nur aus der Stange erschlossen",
  bar_zero_not_read: "die Stange war nie frei zu sehen: ihr Nullpunkt ist der der Kalibrierung",
  beta_inferred: "der Anteil der Hände ist nur aus den Füßen erschlossen",
  bodyweight_from_the_hang: "Körpergewicht aus dem Hang gelesen, nicht aus dem Stehen",
  bodyweight_unknown: "Körpergewicht nicht bekannt: weder angegeben noch gewogen",
  cell_stuck: "eine Zelle wiederholt ihren Messwert: an ihrer Grenze, oder die Verdrahtung ist gebrochen",
  data_missing: "mehr als eine halbe Sekunde an Messwerten fehlt",
  hands_not_told_apart: "nur eine Zelle an der Stange: die Hände lassen sich nicht unterscheiden",
  interrupted: "die Aufnahme brach ab",
  joined_by_the_coach: "vom Coach aus mehreren verbunden",
  kind_by_the_coach: "passiv oder aktiv, wie der Coach es sah",
  kind_unknown: "passiv oder aktiv ist nicht zu sagen: die Schultern bewegten sich nicht",
  lost_by_correction: "manche Zahlen sind nach dem Teilen oder Verbinden nicht bekannt",
  negative_assistance: "die Füße ziehen an der Plattform, oder ihr Nullpunkt stimmt nicht",
  never_settled: "die Stange war nie ruhig",
  nobody_on_the_rig: "niemand war am Messgerät",
  peak_not_resolved: "die Last schwang schneller als die Messwerte folgen: wie hoch sie ging, ist nicht sicher",
  platform_zero_not_read: "die Plattform war nie leer zu sehen: ihr Nullpunkt ist der der Kalibrierung",
  record_begins_in_hold: "die Aufnahme beginnt mitten im Hang",
  record_ends_in_hold: "die Aufnahme endet mitten im Hang",
  several_sessions: "mehr als ein Aufenthalt am Messgerät; das Körpergewicht ist das des längsten Hangs",
  split_by_the_coach: "vom Coach geteilt",
  stood_beside: "im Stand fehlte Gewicht: ein Fuß oder eine Hand war neben der Plattform",
  surplus_load: "es lag mehr Gewicht auf, als die Person wiegt: jemand oder etwas anderes war dabei",
  "swing_below_0.8_deg": "Schwingen unter 0,8 Grad",
  swing_below_noise: "Schwingen zu klein, um hervorzutreten",
  swing_disturbed: "Schwingen nicht messbar: andere Bewegungen überdecken es",
  swing_frequency_unclear: "kein Schwingen tritt hervor",
  swing_needs_platform: "Schwingen braucht die Zellen der Plattform",
  swing_only_with_free_feet: "kein Schwingen, solange die Füße helfen",
  third_support: "etwas anderes trug eine Weile Gewicht",
  too_short: "zu kurz zum Messen",
  too_short_for_swing: "zu kurz, um Schwingen zu messen",
  touch_peak_not_resolved:
    "ein Fuß schlug schneller auf, als die Messwerte folgen: wie hoch das ging, ist nicht sicher",
  travel_needs_platform: "der Weg braucht die Zellen der Plattform",
  travel_not_readable: "der Körper oder die Stange bewegte sich zu sehr: eine Bewegung der Schultern kann fehlen",
  travel_withheld_while_account_open: "Weg zurückgehalten, solange Gewicht fehlte",
  tremor_not_measurable: "Zittern nicht messbar",
  weight_changed: "eine andere Person oder ein anderes Gewicht als sonst: für sich gewogen",
  weight_missing: "Stange und Plattform trugen zusammen weniger, als die Person wiegt",
};

const places = {
  shoulder: "Schulter",
  elbow: "Ellbogen",
  wrist: "Handgelenk",
  hand: "Hand",
  neck: "Nacken",
  lower_back: "unterer Rücken",
};

const names = {
  ...places,
  "lower back": "unterer Rücken",
  numbness: "Taubheit",
  dizziness: "Schwindel",
  swelling: "Schwellung",
  locking: "Blockieren",
  warmth: "Wärme",
  rest: "Ruhe",
  clinician_asked: "medizinisch gefragt",
  recent_surgery_or_dislocation: "Operation oder Ausrenkung vor Kurzem",
  "recent surgery or dislocation": "Operation oder Ausrenkung vor Kurzem",
  "uncontrolled blood pressure": "nicht eingestellter Blutdruck",
  pregnancy: "Schwangerschaft",
  at_the_wall: "an der Wand",
  a_hand_away: "eine Hand davor",
  further_away: "weiter davor",
  "Passive hang": "Passiver Hang",
  "Active hang": "Aktiver Hang",
  "Assisted hang": "Hang mit Hilfe",
  "Two-handed alternating long hang": "Langer Hang mit wechselnden Händen",
  "First hangs": "Erste Hänge",
  "Long hangs": "Lange Hänge",
  "Long alternating hang": "Langer wechselnder Hang",
  "Assisted holds of 30 to 90 s, until 30 s succeed with hardly any help.":
    "Hänge mit Hilfe von 30 bis 90 s, bis 30 s fast ohne Hilfe gelingen.",
  "One long hang in which the hands take turns; the feet never come down.":
    "Ein langer Hang, in dem sich die Hände abwechseln; die Füße kommen nie herunter.",
  "Passive to 120 s, active to 90 s, assisted to 120 s with less and less help, seven minutes a day for a month.":
    "Passiv bis 120 s, aktiv bis 90 s, mit immer weniger Hilfe bis 120 s, sieben Minuten am Tag, einen Monat lang.",
  yes: "ja",
  no: "nein",
  "a physiotherapist or a physician": "Physiotherapie oder ärztliche Praxis",
  "a physician": "ärztliche Praxis",
  "a physician, soon": "bald eine ärztliche Praxis",
  "a physician, before the next hang": "eine ärztliche Praxis, vor dem nächsten Hang",
};

const questions = {
  passive_30s: "Gelingen 30 Sekunden Hang ohne Hilfe, mit lockeren Schultern?",
  active_30s: "Gelingen 30 Sekunden Hang ohne Hilfe, mit tief gezogenen Schultern?",
  pain_now: "Wie stark ist der Schmerz jetzt, von 0 (kein Schmerz) bis 10 (der schlimmste vorstellbare)?",
  pain_places: "Wo tut es weh?",
  shoulder_pain_passive: "Schmerzt eine Schulter im Hang mit lockeren Schultern?",
  back_pain_passive: "Schmerzt der untere Rücken im Hang mit lockeren Schultern?",
  overhead_reach:
    "Rücken flach an der Wand, Arme gestreckt nach oben: Wo kommen die Hände an, ohne dass sich die Rippen heben?",
  elbows_beyond_straight: "Lassen sich die Ellbogen überstrecken?",
  thumb_to_forearm: "Lässt sich der Daumen mit Hilfe der anderen Hand an den Unterarm legen?",
  chin_over_bar_10s: "Lässt sich das Kinn 10 Sekunden über der Stange halten?",
  recent_surgery_or_dislocation:
    "Operation an Arm, Schulter oder Wirbelsäule, oder ein ausgerenktes Gelenk, innerhalb eines Jahres?",
  uncontrolled_blood_pressure: "Bluthochdruck, der nicht eingestellt ist?",
  pregnancy: "Besteht eine Schwangerschaft?",
  dizziness: "Anfälle von Schwindel, oder Ohnmacht?",
  numbness: "Taubheit oder Kribbeln in einem Arm oder einer Hand?",
  clinician_cleared: "Eine ärztliche Praxis wurde dazu gefragt und hat das Hängen erlaubt",
};

const many = (list, between = /, /) =>
  list
    .split(between)
    .map((one) => names[one] ?? one)
    .join(", ");
const inThe = (place) => (place ? `, ${many(place)}` : "");

/** Sentences of the coaching: what they look like in English, and the same in German with the same numbers. */
const phrases = [
  [
    /^([\d.]+) s were reached twice lately: one step more\.$/,
    (s) => `${s} s gelangen zuletzt zweimal: einen Schritt mehr.`,
  ],
  [
    /^The goal of ([\d.]+) s was reached twice lately: keep it\.$/,
    (s) => `Das Ziel von ${s} s gelang zuletzt zweimal: dabei bleiben.`,
  ],
  [/^([\d.]+) s is where the item begins\.$/, (s) => `${s} s sind der Anfang dieser Aufgabe.`],
  [
    /^No help is needed: it succeeds with (\d+)% \(rests on (.*)\)\.$/,
    (p, base) => `Hilfe ist nicht nötig: Es gelingt mit ${p} % (${restsOn(base)}).`,
  ],
  [
    /^Even with (\d+)% help it succeeds with (\d+)% only: stop earlier\.$/,
    (h, p) => `Auch mit ${h} % Hilfe gelingt es nur mit ${p} %: früher aufhören.`,
  ],
  [
    /^With (\d+)% help it succeeds with (\d+)% \(rests on (.*)\)\.$/,
    (h, p, base) => `Mit ${h} % Hilfe gelingt es mit ${p} % (${restsOn(base)}).`,
  ],
  [/^Without help it would be too much today\.$/, () => "Ohne Hilfe wäre es heute zu viel."],
  [/^Today is done; (\d+) days? in a row\.$/, (n) => `Heute ist erfüllt; ${n} Tage in Folge.`],
  [/^Today is done\.$/, () => "Heute ist erfüllt."],
  [
    /^([\d.]+) (s|min) left today; (\d+) days? in a row so far\.$/,
    (n, unit, days) => `Heute noch ${n} ${unit}; bisher ${days === "1" ? "1 Tag" : `${days} Tage in Folge`}.`,
  ],
  [/^([\d.]+) (s|min) left today\.$/, (n, unit) => `Heute noch ${n} ${unit}.`],
  [/^A first day\.$/, () => "Ein erster Tag."],
  [/^Yesterday was a day of rest; go on where you are\.$/, () => "Gestern war ein Ruhetag; einfach weitermachen."],
  [
    /^A pause of (\d+) days costs little: start with what feels easy\.$/,
    (n) => `Eine Pause von ${n} Tagen kostet wenig: mit dem beginnen, was leicht fällt.`,
  ],
  [
    /^The first full day is still to come; any length counts\.$/,
    () => "Der erste volle Tag kommt noch; jede Länge zählt.",
  ],
  [
    /^The hold ends and everything is paused: (.*)\. Ask (.*)\.$/,
    (why, ask) => `Der Hang endet, und alles ist pausiert: ${painful(why)}. Rat holen: ${many(ask, /; /)}.`,
  ],
  [
    /^The hold ends and the item (.*) is paused: (.*)\. Ask (.*)\.$/,
    (item, why, ask) =>
      `Der Hang endet, und die Aufgabe ${item} ist pausiert: ${painful(why)}. Rat holen: ${many(ask, /; /)}.`,
  ],
  [/^(pain .*): ask (.*)$/, (why, ask) => `${painful(why)}: Rat holen (${many(ask, /; /)})`],
  [/^[Pp]aused until it is resumed(?:: (.*))?$/, (why) => `pausiert, bis es weitergeht${why ? `: ${why}` : ""}`],
  [/^[Pp]aused until ([\d-]+)(?:: (.*))?$/, (day, why) => `pausiert bis ${day}${why ? `: ${why}` : ""}`],
  [
    /^The programme is paused until it is resumed(?:: (.*))?\.$/,
    (why) => `Das Programm ist pausiert, bis es weitergeht${why ? `: ${why}` : ""}.`,
  ],
  [
    /^The programme is paused until ([\d-]+)(?:: (.*))?\.$/,
    (day, why) => `Das Programm ist pausiert bis ${day}${why ? `: ${why}` : ""}.`,
  ],
  [
    /^(\d+) sets of this bout are done: the next bout in (\d+) min\.$/,
    (n, m) => `${n} Sätze dieser Runde sind erledigt: die nächste Runde in ${m} min.`,
  ],
  [/^([\d.]+) s without help succeed today with (\d+)%\.$/, (s, p) => `${s} s ohne Hilfe gelängen heute mit ${p} %.`],
  [/^First ([\d.]+) s with at most (\d+)% help\.$/, (s, p) => `Zuerst ${s} s mit höchstens ${p} % Hilfe.`],
  [/^(\d+)% today\.$/, (p) => `${p} % heute.`],
  [
    /^The trend is not known yet: it takes holds over two weeks or more\.$/,
    () => "Der Verlauf ist noch nicht bekannt: Er braucht Hänge über zwei Wochen oder mehr.",
  ],
  [
    /^(\d+)% today; at the present trend not within (\d+) days\.$/,
    (p, d) => `${p} % heute; beim jetzigen Verlauf nicht innerhalb von ${d} Tagen.`,
  ],
  [
    /^(\d+)% today; at the present trend (\d+)% in (\d+) days \(four fifths of what is believed: (\d+) to (?:(more than) )?(\d+) days\)\.$/,
    (p, q, d, a, more, b) =>
      `${p} % heute; beim jetzigen Verlauf ${q} % in ${d} Tagen (vier Fünftel des Vermuteten: ${a} bis ${more ? "mehr als " : ""}${b} Tage).`,
  ],
  [/^No intake yet: both kinds alike\.$/, () => "Noch kein Aufnahmegespräch: beide Arten gleich."],
  [/^Nothing speaks for one kind: both alike\.$/, () => "Nichts spricht für eine Art: beide gleich."],
  [
    /^A shoulder hurts in the passive hang: more active at first\.$/,
    () => "Eine Schulter schmerzt im passiven Hang: zuerst mehr aktiv.",
  ],
  [/^Mobile and rather weak: more active at first\.$/, () => "Beweglich und eher schwach: zuerst mehr aktiv."],
  [/^Strong and rather stiff: more passive at first\.$/, () => "Kräftig und eher steif: zuerst mehr passiv."],
  [
    /^(\d+)% of the way to its goal is done: drifting to equal\.$/,
    (p) => `${p} % des Weges zu ihrem Ziel sind geschafft: Es gleicht sich an.`,
  ],
  [
    /^Pain (\d+) of 10 now \((.*)\)\.$/,
    (n, where) => `Schmerz jetzt ${n} von 10 (${where === "place not told" ? "Ort nicht angegeben" : many(where)}).`,
  ],
  [
    /^The lower back hurts in the passive hang: go through the cues for the lower back\.$/,
    () => "Der untere Rücken schmerzt im passiven Hang: die Hinweise für den unteren Rücken durchgehen.",
  ],
  [/^(.*), ([\d.]+) s without help\.$/, (item, s) => `${names[item] ?? item}, ${s} s ohne Hilfe.`],
  [
    /^(.*), ([\d.]+) s with up to (\d+)% help\.$/,
    (item, s, p) => `${names[item] ?? item}, ${s} s mit bis zu ${p} % Hilfe.`,
  ],
  [
    /^Ask a licensed clinician before hanging: (.*)\.$/,
    (what) => `Vor dem Hängen eine ärztliche Praxis fragen: ${many(what)}.`,
  ],
  [
    /^A licensed clinician was asked and allowed hanging, as the intake says: (.*)\.$/,
    (what) => `Laut Aufnahmegespräch wurde eine ärztliche Praxis gefragt und hat das Hängen erlaubt: ${many(what)}.`,
  ],
  [
    /^([^:]*): ask a clinician before the first hang\.$/,
    (what) => `${redFlags(what)}: vor dem ersten Hang eine ärztliche Praxis fragen.`,
  ],
  [
    /^A coach records what was allowed in the intake\.$/,
    () => "Was erlaubt wurde, trägt die Trainerin oder der Trainer im Aufnahmegespräch ein.",
  ],
  [/^This is a note; it clears nobody\.$/, () => "Das ist ein Hinweis; er gibt niemanden frei."],
  [
    /^No trial before a licensed clinician was asked\.$/,
    () => "Kein Versuch, bevor eine ärztliche Praxis gefragt wurde.",
  ],
];

function restsOn(base) {
  const [, holds] = /^(\d+) holds$/.exec(base) ?? [];
  return holds ? `beruht auf ${holds} Hängen` : "noch kein Hang, daher auf dem, was von Menschen allgemein bekannt ist";
}

/** The red flags of an intake; the English sentence begins with a capital. */
function redFlags(what) {
  return `${what[0].toLowerCase()}${what.slice(1)}`
    .split(", ")
    .map(painful)
    .map((one) => `${one[0].toUpperCase()}${one.slice(1)}`)
    .join(", ");
}

function painful(why) {
  const [, pain, place] = /^pain (\d+) of 10(?: in the (.*))?$/.exec(why) ?? [];
  if (pain) return `Schmerz ${pain} von 10${inThe(place?.replaceAll(" ", "_"))}`;
  const [, from, to, where] = /^pain rose from (\d+) to (\d+)(?: in the (.*))?$/.exec(why) ?? [];
  if (from) return `Schmerz stieg von ${from} auf ${to}${inThe(where?.replaceAll(" ", "_"))}`;
  return many(why, / and /);
}

export const messages = { errors, flags, names, questions, phrases };
