// Errors of the program by their code, in German, as a screen can meet them: what happened, what it means, what to do.
// The particular case (names, numbers) stands in the program's own English sentence, which the page shows beside these.

const again = "Bitte die Seite neu laden und noch einmal versuchen.";
const nothing = "Es wurde nichts geändert.";
const e = (what, means, then) => ({ what, means, do: then });

export const errors = {
  "access-not-usable": e(
    "Die Datei der Passwörter ist beschädigt oder nicht zugänglich.",
    "Bis dahin kommt niemand aus dem Netz herein.",
    "Die Rechte der Datei in Ordnung bringen, oder sie wegnehmen und neue Passwörter setzen.",
  ),
  "backup-not-made": e(
    "Die Sicherung ließ sich nicht schreiben oder nicht gleich zurücklesen.",
    "Frühere Sicherungen sind unberührt.",
    "Nachsehen, ob der Ort da ist, Platz hat und beschreibbar ist.",
  ),
  "backup-not-usable": e(
    "An diesem Ort liegt keine Sicherung, oder sie ist nicht vollständig.",
    nothing,
    "Den Ordner angeben, in den gesichert wurde, oder eine andere Sicherung wählen.",
  ),
  "bad-answers": e(
    "Eine Antwort passt zu keiner Frage.",
    "Der Fragebogen wurde nicht aufbewahrt.",
    "Die genannte Antwort ändern.",
  ),
  "bad-archive": e(
    "Diese Datei ist kein Archiv einer Person, oder sie ist beschädigt.",
    "Es wurde nichts übernommen.",
    "Eine Datei nehmen, die dieses Programm geschrieben hat, oder sie neu kopieren.",
  ),
  "bad-calibration": e(
    "Die Kalibrierung oder ihre Messwerte sind nicht brauchbar.",
    "Lasten dieser Zelle wären falsch.",
    "Die Zelle neu kalibrieren.",
  ),
  "bad-curve": e(
    "Die Datei einer Lastkurve ist nicht lesbar.",
    "Aus ihr wurde nichts gemessen.",
    "Die genannte Zeile richten, oder die Datei neu kopieren.",
  ),
  "bad-person-export": e(
    "Der Akte einer Person fehlt etwas, oder ein neueres Programm schrieb sie.",
    "Es wurde nichts übernommen.",
    "Ein Archiv dieses Programms nehmen, oder das Programm erneuern.",
  ),
  "bad-entry": e("Dieser Eintrag ist nicht brauchbar.", "Er wurde nicht aufbewahrt.", "Den genannten Wert ändern."),
  "bad-input": e(
    "Eine Datei oder Angabe ist so nicht brauchbar.",
    "Die Datei wurde nicht verändert.",
    "Tun, was der Satz des Programms nennt.",
  ),
  "bad-passcode": e(
    "Das Passwort ist zu kurz oder zu leicht, oder Name oder Rolle passen nicht.",
    nothing,
    "Mindestens 8 Zeichen nehmen, am besten ein paar eigene Wörter.",
  ),
  "bad-person": e(
    "Name, Größe, Datum, Einheit oder Zeitzone sind nicht brauchbar.",
    "Die Person wurde nicht so aufbewahrt.",
    "Das Genannte ändern; die Größe in Metern, Zeitzonen wie Europe/Berlin.",
  ),
  "bad-plan": e("Dem Plan der Kalibrierung fehlt etwas.", "Es wurde nicht kalibriert.", "Das Genannte ändern."),
  "bad-policy": e(
    "Diese Regel für alte Rohkurven ist nicht brauchbar.",
    nothing,
    "Behalten oder Entfernen wählen, und mindestens 30 Tage.",
  ),
  "bad-programme": e(
    "Das Programm ist nicht vollständig oder nicht sinnvoll.",
    "Es wurde nicht übernommen; das vorige gilt weiter.",
    "Die genannte Stelle ändern.",
  ),
  "bad-rig": e(
    "Die Beschreibung des Messgeräts ist nicht brauchbar.",
    "Ohne sie wird nicht gemessen.",
    "Das Genannte ändern.",
  ),
  "bodyweight-unknown": e(
    "Das Körpergewicht ist nicht bekannt.",
    "Eine Last in Prozent des Körpergewichts ist dann nicht zu sagen.",
    "Einige Sekunden ruhig auf der Plattform stehen, oder das Körpergewicht angeben.",
  ),
  "calibration-exists": e(
    "Eine ältere Kalibrierung würde überschrieben.",
    "Kalibrierungen bleiben für immer.",
    "Eine Sekunde warten und noch einmal sichern.",
  ),
  "procedure-ended": e(
    "Der Nullpunkt oder die Kalibrierung wurde abgebrochen, oder die Platine war fort.",
    "Es wurde nichts gesichert.",
    "Von vorn beginnen.",
  ),
  "calibration-not-found": e(
    "An diesem Ort ist keine Kalibrierung.",
    "Ohne sie wird nicht gemessen.",
    "Das Messgerät kalibrieren, oder die Datei dorthin kopieren.",
  ),
  "calibration-unfinished": e(
    "Nach einem Ergebnis wurde vor der letzten Messung gefragt.",
    "Noch gibt es keines.",
    "Bis ans Ende des Plans gehen.",
  ),
  "cell-overloaded": e(
    "Der Plan würde eine Zelle oder die Aufhängung überlasten.",
    "So wird nicht kalibriert.",
    "Weniger Masse planen, oder sie verteilen.",
  ),
  "check-not-kept": e(
    "Das Ergebnis der Prüfung ließ sich nicht schreiben.",
    "Die Prüfung gilt, ist aber nicht aufbewahrt.",
    "Platz schaffen, die Rechte des Ordners in Ordnung bringen, noch einmal prüfen.",
  ),
  "converter-saturated": e(
    "Der Wandler ist am Ende seines Bereichs.",
    "Was darüber liegt, ist nicht zu messen.",
    "Die Verdrahtung prüfen, eine kleinere Verstärkung oder größere Zelle wählen.",
  ),
  "correction-not-possible": e(
    "Diese Korrektur passt nicht zum Hang.",
    nothing,
    "Die Zeiten des Hangs und seine früheren Korrekturen ansehen.",
  ),
  "curve-not-even": e(
    "Die Zeiten dieser Kurve passen in kein gleichmäßiges Raster.",
    "C3D und EDF+ brauchen eines.",
    "Als CSV ausgeben.",
  ),
  "data-folder-not-usable": e(
    "Der Datenordner ist nicht brauchbar.",
    "Es kann nichts aufbewahrt werden.",
    "Einen eigenen Ordner angeben, oder die Rechte in Ordnung bringen.",
  ),
  "database-closed": e("Die Datenbank ist geschlossen.", nothing, again),
  "database-not-read": e(
    "Die Datenbank ließ sich nicht lesen.",
    "Die Platte fehlt, oder die Datei ist beschädigt.",
    "Die Platte prüfen und neu starten.",
  ),
  "database-not-written": e(
    "Ein Eintrag erreichte die Platte nicht.",
    "Was vorher da war, ist unberührt.",
    "Platz schaffen; das Rohjournal lässt sich später neu auswerten.",
  ),
  "export-library-missing": e(
    "Für dieses Format fehlt eine Bibliothek.",
    "Diese Ausgabe ist hier nicht möglich.",
    "Sie mit dem Befehl einrichten, den das Programm nennt, oder ein anderes Format wählen.",
  ),
  "fit-not-possible": e(
    "Zu wenige Punkte, oder sie unterscheiden die Zellen nicht.",
    "Eine Kalibrierung ist daraus nicht zu rechnen.",
    "Mehr Lasten messen, und an mehr Orten.",
  ),
  "folder-in-use": e(
    "Ein anderes Programm arbeitet in diesem Datenordner.",
    nothing,
    "Zuerst das laufende beenden, oder einen anderen Ordner nehmen.",
  ),
  "foreign-origin": e(
    "Eine fremde Seite wollte auf das Messgerät zugreifen.",
    "Sie wurde abgewiesen.",
    "Die eigene Seite des Messgeräts öffnen.",
  ),
  internal: e(
    "Im Programm ging etwas schief.",
    "Messen und Aufnehmen gehen weiter.",
    "Bitte die Seite neu laden; bleibt es so, das Protokoll aufheben und melden.",
  ),
  "invalid-request": e(
    "Mit dieser Angabe ist nichts anzufangen.",
    nothing,
    "Den genannten Wert ändern und noch einmal senden.",
  ),
  "job-failed": e(
    "Die Arbeit brach durch einen Fehler des Programms ab.",
    "Es gibt kein Ergebnis.",
    "Noch einmal versuchen; bleibt es so, das Protokoll aufheben und melden.",
  ),
  "job-stopped": e(
    "Die Arbeit dauerte zu lange, oder die Platte ist fast voll.",
    "Es gibt kein Ergebnis.",
    "Weniger auf einmal verlangen, oder Platz schaffen.",
  ),
  "journal-not-erased": e(
    "Ein Journal, das gelöscht werden soll, ließ sich nicht löschen.",
    "Die Aufzeichnung liegt noch auf der Platte.",
    "Die genannte Datei von Hand löschen.",
  ),
  "journal-not-written": e(
    "Das Journal ließ sich nicht schreiben.",
    "Die Zeit des Hangs wird trotzdem gemessen.",
    "Platz schaffen oder die Rechte in Ordnung bringen.",
  ),
  "last-owner": e(
    "Danach gäbe es niemanden mit der Rolle Eigentum.",
    nothing,
    "Zuerst jemand anderem diese Rolle geben.",
  ),
  "mass-in-pounds": e(
    "Eine Masse bewegt die Anzeige, als wäre ihre Zahl in Pfund.",
    "So würde jede Last falsch.",
    "Ihre Masse in Kilogramm berichtigen; ein Pfund (lb) sind 0,45359237 kg.",
  ),
  "mass-moves-nothing": e(
    "Eine Masse hängt, und ihre Zelle spürt sie nicht, oder eine andere spürt sie.",
    "So wird nicht kalibriert.",
    "Prüfen, wo sie hängt, und ob Kabel vertauscht sind.",
  ),
  "mass-not-as-given": e(
    "Eine Masse passt nicht zu den anderen.",
    "So würde jede Last falsch.",
    "Die Scheiben wiegen und ihre Masse berichtigen, oder nachsehen, ob sie frei hängen.",
  ),
  "method-not-allowed": e("Diese Adresse nimmt diese Art von Anfrage nicht.", nothing, again),
  "name-differs": e(
    "Der getippte Name ist nicht der der Person.",
    "Es wurde nichts gelöscht.",
    "Den Namen so tippen, wie ihn die Seite der Person zeigt.",
  ),
  "never-still": e(
    "Eine Last kam nicht zur Ruhe.",
    "Ihre Messung zählt nicht.",
    "Das Schwingen anhalten; bewegt sich nichts, einen losen Draht suchen.",
  ),
  "no-picture": e(
    "Das Messgerät hat noch nichts gesendet.",
    "Es gibt nichts zu zeigen.",
    "Einen Augenblick warten; bleibt es so, die Verbindung auf der Seite des Messgeräts ansehen.",
  ),
  "no-result": e(
    "Zu dieser Arbeit gibt es keine Datei.",
    "Sie ist nicht fertig, gescheitert, abgebrochen oder über eine Stunde alt.",
    "Ihren Stand ansehen, oder sie neu beginnen.",
  ),
  "no-such-hold": e("Diesen Hang gibt es nicht.", "Es wurde nichts ausgegeben.", "In der Liste der Hänge nachsehen."),
  "nobody-on-the-rig": e(
    "Niemand ist am Messgerät, und eben war auch niemand da.",
    "Es wurde nichts vermerkt.",
    "Den Hang öffnen und dort vermerken.",
  ),
  "not-cancellable": e(
    "Diese Arbeit lässt sich nicht mehr abbrechen.",
    "Sie ist vorbei oder wird zu Ende gebracht.",
    "Ihr Ende abwarten.",
  ),
  "not-found": e("Unter dieser Adresse ist nichts.", nothing, "Die Adresse prüfen; die Listen nennen, was es gibt."),
  "not-json": e("Eine Änderung kam in einer Form, die auch fremde Seiten senden könnten.", nothing, again),
  "not-your-role": e(
    "Dieses Gerät ist angemeldet, aber nicht dafür.",
    nothing,
    "Mit der Rolle anmelden, die das Programm nennt.",
  ),
  "person-is-here": e(
    "Diese Person, oder einer ihrer Hänge, ist schon hier.",
    "Es wurde nichts übernommen.",
    "Nachsehen, wer da ist; löschen, was ersetzt werden soll.",
  ),
  "person-leaves": e(
    "Diese Person wird gerade gelöscht.",
    "Sie kann nicht an die Stange kommen.",
    "Jemand anderen wählen, oder das Löschen abbrechen.",
  ),
  "person-was-erased": e(
    "Diese Person wurde hier gelöscht.",
    "Es wurde nichts übernommen.",
    "Nur wenn sie es wünscht: auf der Befehlszeile mit --although-erased.",
  ),
  "power-not-possible": e(
    "Das Programm kann hier die Maschine nicht ausschalten oder neu starten.",
    nothing,
    "Es als Dienst einrichten (hang-monitor install-service).",
  ),
  "report-not-set": e(
    "Der Bericht ließ sich nicht setzen.",
    "Es gibt keinen Bericht.",
    "Einen kürzeren Zeitraum versuchen; bleibt es so, ist es ein Fehler des Programms.",
  ),
  "not-calibrated": e(
    "Das Messgerät ist noch nicht kalibriert.",
    "Messwerte kommen, aber niemand weiß, was sie wiegen; kein Hang wird gemessen.",
    "Die ersten Schritte öffnen und mit bekannten Massen kalibrieren.",
  ),
  "rig-in-use": e(
    "Es ist jemand am Messgerät.",
    "Der Hang würde gestört.",
    "Warten, bis es leer ist, dann noch einmal.",
  ),
  "procedure-under-way": e(
    "Am Messgerät geht schon etwas vor.",
    "Es wurde nichts begonnen.",
    "Damit weitermachen oder es erst beenden.",
  ),
  "no-procedure": e(
    "Am Messgerät geht nichts vor.",
    "Es wurde inzwischen beendet oder angenommen.",
    "Neu beginnen, wenn es noch gewünscht ist.",
  ),
  "procedure-moved-on": e(
    "Es ging inzwischen weiter.",
    "Die Antwort galt einem früheren Schritt und zählt nicht.",
    "Ansehen, was jetzt gefragt ist.",
  ),
  "procedure-not-ready": e("Es gibt noch kein Ergebnis.", "Es wurde nichts gespeichert.", "Erst bis zum Ende gehen."),
  "rig-not-empty": e(
    "Stange oder Plattform tragen etwas.",
    "Ein neuer Nullpunkt wäre falsch.",
    "Alles abnehmen; ist nichts daran, neu kalibrieren.",
  ),
  "rig-not-found": e(
    "Die Beschreibung des Messgeräts fehlt oder ist nicht lesbar.",
    "Ohne sie wird nicht gemessen.",
    "Den Pfad einer rig.toml angeben.",
  ),
  "rig-not-still": e(
    "Das Messgerät bewegt sich, oder eine Zelle gibt keine Messwerte.",
    "Ein neuer Nullpunkt wäre falsch.",
    "Hände, Füße und Zugluft fernhalten; die Drähte der Zelle prüfen.",
  ),
  "rig-unknown": e(
    "Zu den Messwerten fehlen Beschreibung und Kalibrierung.",
    "Lasten sind daraus nicht zu rechnen.",
    "Beide angeben.",
  ),
  "setup-fixed": e(
    "Das Programm wurde mit seinem Messgerät gestartet.",
    nothing,
    "hang-monitor run ohne --port starten, um auf der Seite zu wählen.",
  ),
  "sheet-not-written": e(
    "Das Blatt der Kalibrierung ließ sich nicht schreiben.",
    "Die Kalibrierung selbst ist davon nicht berührt.",
    "Platz und Rechte prüfen.",
  ),
  "sign-flips": e(
    "Eine Zelle antwortet auf Last nach unten verkehrt herum.",
    "So wird nicht kalibriert.",
    "Die Verdrahtung richten; wurde die Zelle mit Absicht gedreht, die alte Kalibrierung entfernen.",
  ),
  "sign-in-needed": e(
    "Dieses Gerät ist nicht angemeldet.",
    "Es wurde nichts gezeigt oder geändert.",
    "Auf der Anmeldeseite ein Passwort angeben, oder einen Code an der Wand zeigen lassen.",
  ),
  "somebody-hangs": e(
    "Gerade hängt jemand an der Stange.",
    "Es wurde nicht beendet.",
    "Warten, bis losgelassen wurde.",
  ),
  "span-too-uncertain": e(
    "Die Lasten sind zu klein, zu wenige oder zu ungenau bekannt.",
    "Jede Last wäre zu unsicher.",
    "Tun, was das Programm nennt: Scheiben wiegen, den Ort angeben oder mehr anhängen.",
  ),
  "too-large": e("Die Anfrage ist größer als erwartet.", nothing, "Weniger auf einmal senden."),
  "too-many-jobs": e(
    "Es warten schon so viele Arbeiten, wie warten dürfen.",
    "Diese wurde nicht angenommen.",
    "Warten, bis eine fertig ist, oder eine abbrechen.",
  ),
  "too-many-tries": e(
    "Von hier kamen zu viele Versuche.",
    "Eine Weile wird nicht geantwortet.",
    "So lange warten, wie das Programm nennt.",
  ),
  "too-slow": e("Die Anfrage kam nicht rechtzeitig vollständig an.", nothing, "Näher am Netz noch einmal versuchen."),
  "typesetter-missing": e(
    "Für Berichte fehlt eine Bibliothek.",
    "Es gibt keinen Bericht.",
    "Sie mit dem Befehl einrichten, den das Programm nennt.",
  ),
  "unknown-account": e(
    "Unter diesem Namen hat niemand ein Passwort.",
    nothing,
    "In der Liste der Passwörter nachsehen.",
  ),
  "unknown-correction": e(
    "Diese Korrektur gibt es nicht, oder sie ist schon zurückgenommen.",
    nothing,
    "Die Korrekturen des Hangs ansehen.",
  ),
  "unknown-format": e("Dieses Format gibt es nicht.", nothing, "Eines der angebotenen Formate wählen."),
  "unknown-hold": e("Diesen Hang gibt es nicht.", nothing, "In der Liste der Hänge nachsehen."),
  "unknown-host": e(
    "Unter diesem Namen wird die Seite nicht bedient.",
    "Ein fremder Name, der hierher führt, kann ein Angriff sein.",
    "Die Adresse öffnen, die das Programm beim Start nannte.",
  ),
  "unknown-marker": e(
    "Diese Marke gibt es nicht, oder sie ist schon zurückgenommen.",
    nothing,
    "Die Marken des Aufenthalts ansehen.",
  ),
  "unknown-person": e("Diese Person gibt es nicht.", nothing, "In der Liste der Menschen nachsehen."),
  "unknown-session": e("Diesen Aufenthalt gibt es nicht.", nothing, again),
  "unknown-unit": e("Diese Einheit gibt es hier nicht.", nothing, "kg, lb, N oder Prozent des Körpergewichts wählen."),
  "wrong-board": e(
    "Die Kanäle der Platine sind nicht die der Beschreibung.",
    "So wird nicht gemessen.",
    "Die Beschreibung nehmen, die zur Platine gehört.",
  ),
  "wrong-code": e(
    "Dieser Code öffnet die Tür nicht.",
    "Er ist falsch, zu alt oder für ein anderes Gerät.",
    "Auf diesem Gerät einen neuen Code zeigen lassen.",
  ),
  "wrong-passcode": e(
    "Name oder Passwort stimmen nicht.",
    "Welches von beiden, wird nicht gesagt.",
    "Noch einmal versuchen, oder ein neues Passwort setzen lassen.",
  ),
  "zero-not-taken": e(
    "Der neue Nullpunkt wurde nicht bestätigt.",
    "Der alte gilt weiter.",
    "Noch einmal beginnen und bestätigen.",
  ),
};
