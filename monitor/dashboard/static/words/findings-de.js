// What a check and a calibration found, in German: each sentence of the program, and the same with its numbers.
// Numbers that stand alone come with the decimal mark of the language.

const partNames = { bar: "Stange", platform: "Plattform" };
const the = { bar: "die Stange", platform: "die Plattform" };
const ofThe = { bar: "der Stange", platform: "der Plattform" };
const ways = {
  hanging: "Im Hang",
  "hanging to the left": "Im Hang am linken Ende",
  "hanging to the right": "Im Hang am rechten Ende",
};

/** Patterns of the findings; `cell` gives the name of a cell, `own` a number with the mark of the language. */
export function findings(cell, own) {
  const cells = (list) => list.split(", ").map(cell).join(", ");
  const why = (reason) =>
    reason
      .replace(
        /^([\d.]+) times ([\d.]+) kg on each cell$/,
        (_, factor, kg) => `${own(factor)} mal ${own(kg)} kg auf jeder Zelle`,
      )
      .replace(/^([\d.]+) kg on one corner$/, (_, kg) => `${own(kg)} kg auf einer Ecke`);
  return [
    // Titles
    [/^The places of the (bar|platform) agree$/, (part) => `Die Orte ${ofThe[part]} stimmen überein`],
    [/^Bar and platform close the account$/, () => "Stange und Plattform ergeben zusammen das Gewicht"],
    [/^Half an hour of (.*)$/, (name) => `Eine halbe Stunde: ${cell(name)}`],
    [/^Noise of (.*)$/, (name) => `Rauschen: ${cell(name)}`],
    [/^Drift of (.*)$/, (name) => `Drift: ${cell(name)}`],
    [/^(.*) moves when it is pressed$/, (name) => `Bewegt sich beim Drücken: ${cell(name)}`],
    [/^The mount's working load$/, () => "Tragfähigkeit der Aufhängung"],
    [/^Capacity of the (bar|platform)'s cells$/, (part) => `Nennlast der Zellen ${ofThe[part]}`],
    [/^The board answers$/, () => "Die Platine antwortet"],
    [/^Sample rate$/, () => "Abtastrate"],
    [/^Readings lost$/, () => "Verlorene Messwerte"],
    [/^Zeros$/, () => "Nullpunkte"],
    [/^The check was cut off$/, () => "Die Prüfung wurde abgebrochen"],

    // The board
    [/^Nothing came from the board\.$/, () => "Von der Platine kam nichts."],
    [
      /^Check cable and port; hang-monitor ports lists them\.$/,
      () => "Kabel und Anschluss prüfen; hang-monitor ports zählt die Anschlüsse auf.",
    ],
    [/^The board has sent nothing for ten seconds\.$/, () => "Die Platine hat zehn Sekunden lang nichts gesendet."],
    [/^Check its cable and its lamp\.$/, () => "Ihr Kabel und ihre Lampe prüfen."],
    [/^The board ended\.$/, () => "Die Platine sendet nicht mehr."],
    [/^Check the cable, then begin again\.$/, () => "Das Kabel prüfen, dann von vorn beginnen."],
    [/^The board sends (\d+) channels\.$/, (n) => `Die Platine sendet ${n} Kanäle.`],
    [
      /^Converter (.*), firmware ([\d.]+), (\d+) channels\.$/,
      (name, firmware, n) => `Wandler ${name}, Firmware ${firmware}, ${n} Kanäle.`,
    ],
    [/^The rig description has (\d+)\.$/, (n) => `Die Beschreibung des Messgeräts hat ${n}.`],
    [
      /^Use the rig description that belongs to this board\.$/,
      () => "Die Beschreibung nehmen, die zu dieser Platine gehört.",
    ],
    [/^Too few readings came to measure the rate\.$/, () => "Es kamen zu wenige Messwerte, um die Rate zu messen."],
    [
      /^([\d.]+) readings per second, ([\d.]+) expected\.$/,
      (is, wanted) => `${is} Messwerte in der Sekunde, ${wanted} erwartet.`,
    ],
    [
      /^Set nominal_rate_Hz in rig\.toml to what the board does, or mend the board's settings\.$/,
      () => "nominal_rate_Hz in rig.toml so setzen, wie die Platine misst, oder die Platine anders einstellen.",
    ],
    [
      /^This is what a converter does whose RATE pin is tied low: tie it high \(hardware\/electronics\.md\)\.$/,
      () =>
        "So misst ein Wandler, dessen Anschluss RATE auf Masse liegt: auf Versorgung legen (hardware/electronics.md).",
    ],
    [/^No readings came\.$/, () => "Es kamen keine Messwerte."],
    [
      /^(\d+) of (\d+) readings lost, (\d+) damaged frames\.$/,
      (lost, all, damaged) => `${lost} von ${all} Messwerten verloren, ${damaged} beschädigte Rahmen.`,
    ],
    [/^The board reports: (.*)\.$/, (faults) => `Die Platine meldet: ${faults}.`],
    [
      /^Use a short data cable, no hub, and a computer that is not busy\.$/,
      () => "Ein kurzes Datenkabel nehmen, keinen Verteiler, und einen Rechner, der nicht beschäftigt ist.",
    ],
    [
      /^See docs\/firmware\.md for what the board's faults mean; check that cell's converter and wires\.$/,
      () => "Was die Meldungen bedeuten, steht in docs/firmware.md; Wandler und Drähte dieser Zelle prüfen.",
    ],

    // The cells
    [/^More than half of its readings are missing\.$/, () => "Mehr als die Hälfte ihrer Messwerte fehlt."],
    [
      /^Look for a loose data or clock line, or a converter without supply\.$/,
      () => "Eine lose Daten- oder Taktleitung suchen, oder einen Wandler ohne Versorgung.",
    ],
    [
      /^The reading stands still to the last count: no living cell does\.$/,
      () => "Der Messwert steht bis auf den letzten Zählwert still: Das tut keine lebende Zelle.",
    ],
    [
      /^Look for a broken signal wire, or a converter at its limit\.$/,
      () => "Einen gebrochenen Signaldraht suchen, oder einen Wandler an seiner Grenze.",
    ],
    [
      /^(.*) N \((\d+) counts\) in one reading; the converter should give about (\d+) counts\.$/,
      (newtons, counts, expected) =>
        `${newtons} N (${counts} Zählwerte) in einem Messwert; vom Wandler sind etwa ${expected} zu erwarten.`,
    ],
    [
      /^(.*) N \((\d+) counts\) in one reading; nothing is known of the converter (.*), ([\d.]+) N is usual\.$/,
      (newtons, counts, name, usual) =>
        `${newtons} N (${counts} Zählwerte) in einem Messwert; ${name === "of this board" ? "von diesem Wandler" : `vom Wandler ${name}`} ist nichts bekannt, üblich sind ${usual} N.`,
    ],
    [
      /^Check the shield, the ground and the supply; keep chargers and phones away\.$/,
      () => "Schirm, Masse und Versorgung prüfen; Ladegeräte und Telefone fernhalten.",
    ],
    [/^Its readings are missing\.$/, () => "Ihre Messwerte fehlen."],
    [
      /^([+-][\d.]+) N a minute over (\d+) s; wandering beyond noise (.*) N\.$/,
      (drift, seconds, wander) =>
        `${drift} N in der Minute über ${seconds} s; Wandern über das Rauschen hinaus ${wander} N.`,
    ],
    [
      /^(.*) min are shorter than the 30 min of OIML R 60: its creep limits were not applied\.$/,
      (minutes) => `${minutes} min sind kürzer als die 30 min von OIML R 60: Seine Grenzen für Kriechen galten nicht.`,
    ],
    [
      /^Let the electronics warm up for half an hour, keep sun and draught off the cells\.$/,
      () => "Die Elektronik eine halbe Stunde warm werden lassen, Sonne und Zugluft von den Zellen fernhalten.",
    ],
    [/^Nothing moved while it was to be pressed\.$/, () => "Nichts bewegte sich, als zu drücken war."],
    [
      /^Press harder and check again; then look for a loose wire of (.*): supply \(E\+, E-\) or signal \(S\+, S-\)\.$/,
      (name) =>
        `Fester drücken und noch einmal prüfen; dann nach einem losen Draht sehen (${cell(name)}): Versorgung (E+, E-) oder Signal (S+, S-).`,
    ],
    [
      /^It moves by (-\d+) N: upward where it was pressed downward\.$/,
      (newtons) => `Sie bewegt sich um ${newtons} N: aufwärts, wo abwärts gedrückt wurde.`,
    ],
    [
      /^Swap the signal wires S\+ and S- of (.*), or turn the cell\.$/,
      (name) => `Die Signaldrähte S+ und S- tauschen (${cell(name)}), oder die Zelle umdrehen.`,
    ],
    [
      /^It moves by (\+\d+) N, more than any other\.$/,
      (newtons) => `Sie bewegt sich um ${newtons} N, mehr als jede andere.`,
    ],
    [
      /^(.*) moves instead, and (.*) when (.*) is pressed: the two are swapped\.$/,
      (other, name) =>
        `Statt ihrer bewegt sich die andere (${cell(other)}), und umgekehrt (${cell(name)}): Die beiden sind vertauscht.`,
    ],
    [
      /^Swap the cables of (.*) and (.*), or their names\.$/,
      (name, other) => `Die Kabel tauschen (${cell(name)} und ${cell(other)}), oder die Namen.`,
    ],
    [
      /^It stays where it is \(([+-]\d+) N\) while (.*) moves\.$/,
      (newtons, other) => `Sie bleibt, wo sie ist (${newtons} N), während sich eine andere bewegt (${cell(other)}).`,
    ],
    [/^Look for a loose wire of (.*)\.$/, (name) => `Nach einem losen Draht sehen (${cell(name)}).`],
    [
      /^If (.*) was pressed by mistake, check again\.$/,
      (other) => `Wurde versehentlich die andere gedrückt (${cell(other)}), noch einmal prüfen.`,
    ],
    [
      /^(.*) moves more \(([+-]\d+) N here\)\.$/,
      (other, newtons) => `Eine andere bewegt sich mehr (${cell(other)}; hier ${newtons} N).`,
    ],
    [
      /^Press right at (.*), and check again\.$/,
      (name) => `Genau dort drücken (${cell(name)}) und noch einmal prüfen.`,
    ],

    // Half an hour
    [/^Its rated load is not entered\.$/, () => "Ihre Nennlast ist nicht eingetragen."],
    [/^Write rated_N into rig\.toml\.$/, () => "rated_N in rig.toml eintragen."],
    [
      /^More than half of the readings of a minute are missing\.$/,
      () => "Mehr als die Hälfte der Messwerte einer Minute fehlt.",
    ],
    [
      /^(.*) N in 30 min \(limit (.*) N\), (.*) N from the 20th to the 30th minute \(limit (.*) N\); OIML R 60, class (.*) with (\d+) intervals\.$/,
      (...n) =>
        `${n[0]} N in 30 min (Grenze ${n[1]} N), ${n[2]} N von der 20. bis zur 30. Minute (Grenze ${n[3]} N); OIML R 60, Klasse ${n[4]} mit ${n[5]} Teilungen.`,
    ],
    [
      /^Let everything warm up, keep sun and draught away, watch again; else a better cell\.$/,
      () => "Alles warm werden lassen, Sonne und Zugluft fernhalten, noch einmal beobachten; sonst eine bessere Zelle.",
    ],

    // The account
    [/^There is no calibration yet\.$/, () => "Es gibt noch keine Kalibrierung."],
    [/^Calibrate the rig, then check again\.$/, () => "Das Messgerät kalibrieren, dann noch einmal prüfen."],
    [/^hang-monitor calibrate$/, () => "Das Messgerät kalibrieren."],
    [/^Nobody kept still at: (.*)\.$/, (names) => `Niemand stand still an: ${cells(names)}.`],
    [/^Check again\.$/, () => "Noch einmal prüfen."],
    [
      /^The same person weighs ([\d.]+) to ([\d.]+) N; (.*) is off by (.*)%\.$/,
      (low, high, name, off) =>
        `Dieselbe Person wiegt ${low} bis ${high} N; am weitesten daneben (${cell(name)}): ${off} %.`,
    ],
    [/^Not tried: (.*)\.$/, (names) => `Nicht versucht: ${cells(names)}.`],
    [
      /^See that nothing touches the (bar|platform) near (.*), that no stop is too near, then calibrate its cells\.$/,
      (part, name) =>
        `Nachsehen, ob etwas ${the[part]} berührt (${cell(name)}) oder ein Anschlag zu nah ist, dann ihre Zellen kalibrieren.`,
    ],
    [/^Nobody stood still on the platform\.$/, () => "Niemand stand still auf der Plattform."],
    [/^Nobody hung still from the bar\.$/, () => "Niemand hing still an der Stange."],
    [
      /^Check again, with a person who stands and hangs\.$/,
      () => "Noch einmal prüfen, mit jemandem, der steht und hängt.",
    ],
    [
      /^(hanging.*), the rig carries (.*)% of what it carries while standing \(u = (.*)%\)\.$/,
      (way, off, u) => `${ways[way] ?? "Im Hang"} trägt das Messgerät ${off} % gegenüber dem Stehen (u = ${u} %).`,
    ],
    [
      /^Something else carries: a sling that is too tight, a foot, the frame\.$/,
      () => "Etwas anderes trägt mit: eine zu straffe Schlinge, ein Fuß, der Rahmen.",
    ],
    [/^Something pulls down\.$/, () => "Etwas zieht nach unten."],
    [
      /^If nothing does, calibrate bar and platform with the same masses\.$/,
      () => "Wenn nicht, Stange und Plattform mit denselben Massen kalibrieren.",
    ],
    [
      /^The rig was not empty and still for long enough\.$/,
      () => "Das Messgerät war nicht lange genug leer und in Ruhe.",
    ],
    [/^Check again with nothing on the rig\.$/, () => "Noch einmal prüfen, mit leerem Messgerät."],
    [
      /^the empty (bar|platform) reads (.*?) N(?:, the empty (bar|platform) reads (.*) N)?\.$/,
      (part, n, other, m) => `Leer zeigt ${the[part]} ${n} N${other ? `, ${the[other]} ${m} N` : ""}.`,
    ],
    [/^Take a new zero: hang-monitor zero\.$/, () => "Einen neuen Nullpunkt nehmen."],
    [/^Nothing is changed by itself\.$/, () => "Von selbst wird nichts geändert."],

    // Strength
    [/^It is not entered\.$/, () => "Sie ist nicht eingetragen."],
    [/^Expected at most: (\d+) N\.$/, (n) => `Höchstens zu erwarten: ${n} N.`],
    [
      /^Write mount_rating_N into rig\.toml: the lowest working load in one path, anchor included \(hardware\/loads\.md\)\.$/,
      () =>
        "mount_rating_N in rig.toml eintragen: die kleinste Tragfähigkeit in einem Lastpfad, samt Verankerung (hardware/loads.md).",
    ],
    [/^Nobody should hang before that\.$/, () => "Vorher soll niemand hängen."],
    [
      /^A hold has put (\d+) N on the bar; the mount is rated for (\d+) N\.$/,
      (peak, rating) => `Ein Hang brachte ${peak} N auf die Stange; die Aufhängung trägt ${rating} N.`,
    ],
    [/^Have the mount looked at by a qualified person\.$/, () => "Die Aufhängung von einer Fachkraft ansehen lassen."],
    [
      /^(\d+) N; ([\d.]+) times ([\d.]+) kg are (\d+) N\.$/,
      (rating, factor, kg, peak) => `${rating} N; ${factor} mal ${kg} kg sind ${peak} N.`,
    ],
    [
      /^Nobody above (\d+) kg on this mount, or a stronger mount\.$/,
      (kg) => `Niemand über ${kg} kg an diese Aufhängung, oder eine stärkere.`,
    ],
    [/^(\d+) N: allows a person of (\d+) kg\.$/, (rating, kg) => `${rating} N: erlaubt eine Person von ${kg} kg.`],
    [
      /^(.*): less than (\d+) N \((.*)\)\.$/,
      (names, needed, reason) => `${cells(names)}: weniger als ${needed} N (${why(reason)}).`,
    ],
    [/^Larger cells, or a stop that takes the rest\.$/, () => "Größere Zellen, oder ein Anschlag, der den Rest trägt."],
    [/^Larger cells for this path\.$/, () => "Größere Zellen für diesen Lastpfad."],
    [
      /^Not entered for (.*); (\d+) N are needed \((.*)\)\.$/,
      (names, needed, reason) => `Nicht eingetragen (${cells(names)}); nötig sind ${needed} N (${why(reason)}).`,
    ],
    [/^Write rated_N of every cell into rig\.toml\.$/, () => "rated_N jeder Zelle in rig.toml eintragen."],
    [/^All bear (\d+) N \((.*)\)\.$/, (needed, reason) => `Alle tragen ${needed} N (${why(reason)}).`],

    // Remarks and comparisons of a calibration
    [/^(bar|platform): creep was not watched$/, (part) => `${partNames[part]}: Kriechen wurde nicht beobachtet`],
    [
      /^(bar|platform): no load was repeated, so repeatability is not known$/,
      (part) => `${partNames[part]}: keine Last wurde wiederholt, die Wiederholbarkeit ist nicht bekannt`,
    ],
    [
      /^(bar|platform): the cells are bent; a quadratic is used \(chance (.*)\)$/,
      (part, chance) =>
        `${partNames[part]}: die Kennlinie ist gekrümmt; ein quadratisches Glied ist darin (Wahrscheinlichkeit ${chance})`,
    ],
    [
      /^(.*): span (.*)% from the last calibration$/,
      (name, change) => `${cell(name)}: Spanne ${change} % gegenüber der letzten Kalibrierung`,
    ],
    [
      /^not calibrated: (.*); the rig needs them, calibrate them too$/,
      (names) => `nicht kalibriert: ${cells(names)}; das Messgerät braucht sie, bitte auch kalibrieren`,
    ],
    [/^as in the last calibration: (.*)$/, (names) => `wie in der letzten Kalibrierung: ${cells(names)}`],
    [/^the warm-up was skipped$/, () => "das Warmwerden wurde übersprungen"],
    [
      /^the warm-up was waited for but could not be judged$/,
      () => "auf das Warmwerden wurde gewartet, es ließ sich aber nicht beurteilen",
    ],
    [/^the board started anew in between$/, () => "die Platine begann dazwischen von vorn"],
    [
      /^(.*) was corrected to (.*) kg during the calibration$/,
      (name, kg) => `${name} wurde unterwegs auf ${kg} kg berichtigt`,
    ],
    [
      /^step (\d+): the mean is less certain than wanted, it drifts$/,
      (n) => `Schritt ${n}: der Mittelwert ist weniger sicher als gewünscht, er driftet`,
    ],
    [
      /^step (\d+): the mean is less certain than wanted, the noise is large$/,
      (n) => `Schritt ${n}: der Mittelwert ist weniger sicher als gewünscht, das Rauschen ist groß`,
    ],
    [/^residual at (\d+) N$/, (n) => `Abweichung bei ${n} N`],
    [/^repeatability$/, () => "Wiederholbarkeit"],
    [/^falling minus rising$/, () => "fallend minus steigend"],
    [/^creep of (.*) in (\d+) s$/, (name, s) => `Kriechen in ${s} s (${cell(name)})`],
    [/^zero return of (.*)$/, (name) => `Rückkehr zum Nullpunkt (${cell(name)})`],
  ];
}
