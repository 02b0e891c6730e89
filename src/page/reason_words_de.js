// German: every reason in the words of a person who knows cars and not computers, as in reason_words_en.js.

const DAMAGED_DE = {
  says: "Die Datei vom Betrieb ist beschädigt: Sie ist nicht so angekommen, wie sie gesendet wurde.",
  act: "Nicht schreiben. Laden oder kopieren Sie die Datei noch einmal. Hilft das nicht, bitten Sie den Betrieb, sie noch einmal zu senden.",
};
const CONTRADICTS_DE = {
  says: "Die Datei vom Betrieb widerspricht sich, also kann niemand sagen, was sie bewirken würde.",
  act: "Nicht schreiben. Sagen Sie dem Betrieb, dass seine Datei fehlerhaft ist, und bitten Sie um eine andere.",
};
const UNFIT_FILE_DE = {
  says: "Eine der Dateien enthält nicht, was eine solche Datei enthalten muss.",
  act: "Nicht schreiben. Sehen Sie unten nach, welche Datei es ist, und holen Sie sie noch einmal. Hilft das nicht, sagen Sie es dem Betrieb.",
};
const READ_DAMAGED_DE = {
  says: "Ihre Auslesedatei ist beschädigt.",
  act: "Lesen Sie das Steuergerät noch einmal aus oder speichern Sie die Auslesung noch einmal, und geben Sie diese Datei hier.",
};
const OTHER_DESCRIPTION_DE = {
  says: "Die Beschreibung Ihres Steuergeräts vom Betrieb hat einen Fehler.",
  act: "Nicht schreiben. Sagen Sie es dem Betrieb; nur er kann das beheben.",
};
const READ_ALTERED_DE = {
  says: "In Ihrem Steuergerät wurde etwas geändert, das weder vom Hersteller noch vom Betrieb ist.",
  act: "Nicht schreiben. Lesen Sie das Steuergerät noch einmal aus. Bleibt es so, senden Sie die Auslesung an den Betrieb.",
};
const READ_PARTIAL_DE = {
  says: "In Ihrer Auslesung fehlen Teile des Steuergeräts.",
  act: "Lesen Sie das Steuergerät noch einmal aus, ganz und mit allen Speichern, und geben Sie alle Dateien.",
};

export const REASON_WORDS_DE = {
  "usage": {
    says: "Die Datei der neuesten Revision ist von einem anderen Auftrag oder Steuergerät.",
    act: "Geben Sie die neueste Revision dieses Autos und dieses Steuergeräts.",
  },
  "file-unreadable": {
    says: "Eine Datei war nicht lesbar: verschoben, geändert, oder der Stick wurde abgezogen.",
    act: "Wählen Sie die Datei noch einmal.",
  },
  "file-empty": {
    says: "Eine Datei ist leer.",
    act: "Laden, kopieren oder speichern Sie diese Datei noch einmal, und wählen Sie sie noch einmal.",
  },
  "file-too-large": {
    says: "Eine Datei ist viel größer, als sie sein kann.",
    act: "Sehen Sie unten nach, welche Datei es ist und ob Sie die richtige gewählt haben.",
  },
  "out-of-memory": {
    says: "Dieses Gerät hat zu wenig Speicher für diese Dateien.",
    act: "Schließen Sie andere Programme oder nehmen Sie einen Computer.",
  },
  "internal": {
    says: "Diese Seite hat versagt; der Fehler liegt in der Seite selbst.",
    act: "Nicht schreiben. Sagen Sie es dem Betrieb und senden Sie ihm, was unten steht.",
  },
  "json-syntax": UNFIT_FILE_DE,
  "json-depth": UNFIT_FILE_DE,
  "json-repeated-key": UNFIT_FILE_DE,
  "json-number": UNFIT_FILE_DE,
  "json-type": UNFIT_FILE_DE,
  "json-unknown-key": UNFIT_FILE_DE,
  "json-missing-key": UNFIT_FILE_DE,
  "json-value": UNFIT_FILE_DE,
  "json-not-canonical": UNFIT_FILE_DE,
  "form-unknown": {
    says: "Es lässt sich nicht sagen, was für eine Auslesedatei das ist.",
    act: "Speichern Sie die Auslesung ungepackt, so wie sie im Steuergerät steht, und geben Sie diese Datei hier. Fragen Sie den Betrieb, welche Arten er nimmt.",
  },
  "form-opaque": {
    says: "Die Auslesung ist verschlüsselt oder gepackt, also sieht niemand, was darin ist.",
    act: "Speichern Sie die Auslesung ohne Verschlüsselung und ungepackt, und geben Sie diese Datei hier.",
  },
  "form-checksum": {
    says: "Ihre Auslesedatei ist beschädigt oder wurde von einem anderen Programm geändert.",
    act: "Speichern Sie die Auslesung noch einmal, direkt aus dem Gerät, das ausgelesen hat.",
  },
  "form-omits": {
    says: "Ihre Art von Auslesedatei lässt etwas aus, das geschrieben werden muss.",
    act: "Speichern Sie die Auslesung in einer anderen Form, die den ganzen Speicher enthält, und geben Sie diese Datei hier.",
  },
  "record-malformed": READ_DAMAGED_DE,
  "record-checksum": READ_DAMAGED_DE,
  "record-type": READ_DAMAGED_DE,
  "record-address": READ_DAMAGED_DE,
  "record-overlap": READ_DAMAGED_DE,
  "record-count": READ_DAMAGED_DE,
  "record-end-missing": {
    says: "Ihre Auslesedatei ist abgeschnitten: Das Ende fehlt.",
    act: "Kopieren Sie die Datei noch einmal oder lesen Sie das Steuergerät noch einmal aus.",
  },
  "record-after-end": READ_DAMAGED_DE,
  "image-size": {
    says: "Die Auslesung ist zu kurz oder zu lang für diesen Speicher des Steuergeräts.",
    act: "Prüfen Sie, ob jede Datei die ihres Speichers ist. Wenn ja, lesen Sie das Steuergerät noch einmal ganz aus.",
  },
  "image-outside": {
    says: "Die Auslesung enthält Stellen, die dieses Steuergerät nicht hat.",
    act: "Prüfen Sie, ob die Auslesung von diesem Steuergerät ist. Wenn ja, fragen Sie den Betrieb.",
  },
  "memory-missing": {
    says: "Es lässt sich nicht sagen, von welchem Speicher des Steuergeräts eine Datei ist.",
    act: "Prüfen Sie, ob jede Datei eine ganze Auslesung dieses Steuergeräts ist. Sind zwei Speicher gleich groß, sagen Sie, welcher es ist.",
  },
  "memory-unknown": {
    says: "Das Steuergerät hat keinen solchen Speicher.",
    act: "Entfernen Sie die Datei, geben Sie sie noch einmal, und sagen Sie, von welchem Speicher sie ist.",
  },
  "map-range": OTHER_DESCRIPTION_DE,
  "map-overlap": OTHER_DESCRIPTION_DE,
  "map-name": OTHER_DESCRIPTION_DE,
  "map-policy": OTHER_DESCRIPTION_DE,
  "map-checksum": OTHER_DESCRIPTION_DE,
  "map-unsolvable": OTHER_DESCRIPTION_DE,
  "map-floating": OTHER_DESCRIPTION_DE,
  "checksum-cycle": OTHER_DESCRIPTION_DE,
  "descriptor-invalid": {
    says: "Die Beschreibung des Steuergeräts vom Betrieb passt nicht zu dieser Auslesung.",
    act: "Nicht schreiben. Prüfen Sie, ob die Auslesung von diesem Steuergerät ist. Wenn ja, sagen Sie es dem Betrieb.",
  },
  "family-mismatch": {
    says: "Die Auslesung ist von einer anderen Art Steuergerät.",
    act: "Nicht schreiben. Wählen Sie die Auslesung des Steuergeräts, für das diese Revision ist.",
  },
  "bank-not-active": {
    says: "Das Steuergerät arbeitet mit einer anderen Hälfte seines Speichers als mit der, die geändert würde.",
    act: "Nicht schreiben. Senden Sie die Auslesung an den Betrieb.",
  },
  "checksum-fails": {
    says: "Die Auslesung geht nicht auf: Sie wurde mit Fehlern gelesen, oder jemand hat etwas geändert.",
    act: "Nicht schreiben. Lesen Sie das Steuergerät noch einmal aus. Bleibt es so, senden Sie die Auslesung an den Betrieb.",
  },
  "checksum-not-provable": READ_PARTIAL_DE,
  "map-not-believed": {
    says: "Die Beschreibung des Steuergeräts vom Betrieb stimmt nicht für die erste Auslesung.",
    act: "Nicht schreiben. Sagen Sie es dem Betrieb; nur er kann das beheben.",
  },
  "read-incomplete": READ_PARTIAL_DE,
  "change-signed": {
    says: "Ein Teil, den der Hersteller des Steuergeräts geschützt hat, wurde geändert.",
    act: "Nicht schreiben. Lesen Sie das Steuergerät noch einmal aus. Bleibt es so, senden Sie die Auslesung an den Betrieb.",
  },
  "change-patch": READ_ALTERED_DE,
  "change-locked": READ_ALTERED_DE,
  "change-volatile": {
    says: "Etwas, das nur zu Ihrem Auto gehört, würde geändert.",
    act: "Nicht schreiben. Sagen Sie dem Betrieb, dass seine Datei fehlerhaft ist.",
  },
  "copy-one-sided": READ_ALTERED_DE,
  "derived-wrong": READ_ALTERED_DE,
  "bundle-size": DAMAGED_DE,
  "not-a-bundle": {
    says: "Das ist keine Datei, die ein Betrieb für einen Kunden versiegelt hat.",
    act: "Wählen Sie die Datei, die der Betrieb geschickt hat; ihr Name endet meist auf .calseal. Vielleicht steckt sie noch gepackt in einer anderen Datei.",
  },
  "prefix-damaged": DAMAGED_DE,
  "signature-missing": {
    says: "Niemand hat diese Datei unterschrieben, also steht niemand dafür ein.",
    act: "Nicht schreiben. Bitten Sie den Betrieb um die unterschriebene Datei.",
  },
  "signer-unknown": {
    says: "Diese Datei hat jemand unterschrieben, den diese Seite nicht als Ihren Betrieb kennt.",
    act: "Nicht schreiben. Rufen Sie den Betrieb an: Hat er diese Datei gesendet, und gibt es eine neuere Seite als diese?",
  },
  "signature-bad": {
    says: "Die Datei wurde geändert, nachdem der Betrieb sie unterschrieben hatte.",
    act: "Nicht schreiben. Holen Sie die Datei noch einmal. Hilft das nicht, rufen Sie den Betrieb an: Vielleicht hat jemand daran manipuliert.",
  },
  "type-wrong": {
    says: "Eine Datei ist von anderer Art als die, die an ihrer Stelle nötig ist.",
    act: "Sehen Sie unten nach, welche Datei es ist und ob Sie die richtige gewählt haben. Wenn ja, sagen Sie es dem Betrieb.",
  },
  "format-unknown": {
    says: "Eine Datei wurde für eine neuere Seite als diese gemacht.",
    act: "Bitten Sie den Betrieb um seine neueste Seite.",
  },
  "manifest-invalid": CONTRADICTS_DE,
  "framing-damaged": DAMAGED_DE,
  "stored-digest": DAMAGED_DE,
  "content-digest": DAMAGED_DE,
  "key-weak": {
    says: "Eine Unterschrift wurde so gemacht, dass sie nichts beweist.",
    act: "Nicht schreiben. Rufen Sie den Betrieb an.",
  },
  "trust-invalid": {
    says: "Was diese Seite von Ihrem Betrieb weiß, ist beschädigt.",
    act: "Nicht schreiben. Bitten Sie den Betrieb noch einmal um diese Seite.",
  },
  "root-mismatch": {
    says: "Der Code, den Sie getippt haben, ist nicht der Code dieser Seite.",
    act: "Nicht schreiben. Lassen Sie sich den Code noch einmal vorlesen. Ist er immer noch anders, ist diese Seite nicht von Ihrem Betrieb.",
  },
  "key-compromised": {
    says: "Diese Datei wurde mit einem Schlüssel unterschrieben, der dem Betrieb gestohlen wurde.",
    act: "Nicht schreiben. Rufen Sie den Betrieb an.",
  },
  "key-scope": {
    says: "Wer diese Datei unterschrieben hat, darf das für dieses Auto oder Steuergerät nicht.",
    act: "Nicht schreiben. Bitten Sie den Betrieb, dass die richtige Person unterschreibt.",
  },
  "key-validity": {
    says: "Diese Datei wurde zu einer Zeit unterschrieben, in der die Unterschrift nicht galt.",
    act: "Nicht schreiben. Bitten Sie den Betrieb um eine Datei mit gültiger Unterschrift.",
  },
  "roles-missing": {
    says: "Nicht alle im Betrieb, die diese Datei unterschreiben müssen, haben das getan.",
    act: "Nicht schreiben. Bitten Sie den Betrieb um die Datei mit allen Unterschriften.",
  },
  "succession-invalid": {
    says: "Die Datei, die den neuen Hauptschlüssel des Betriebs ankündigt, ist nicht echt oder beschädigt.",
    act: "Nicht schreiben. Holen Sie sie noch einmal vom Betrieb; hilft das nicht, rufen Sie ihn an.",
  },
  "trust-old": {
    says: "Diese Seite ist älter als eine, die schon verwendet wurde.",
    act: "Nicht schreiben. Nehmen Sie die neueste Seite des Betriebs oder bitten Sie darum.",
  },
  "succession-fork": {
    says: "Zwei verschiedene Schlüssel geben sich als neuer Hauptschlüssel aus; einer ist von einem Dieb.",
    act: "Nicht schreiben. Rufen Sie den Betrieb an, lassen Sie sich den Code seines Hauptschlüssels vorlesen, und tippen Sie ihn oben ein.",
  },
  "root-unrelated": {
    says: "Diese Seite ist von einem anderen Betrieb als denen, die Ihre Merkdatei kennt.",
    act: "Nicht schreiben. Haben Sie den Betrieb gewechselt, lassen Sie sich dessen Code vorlesen und tippen Sie ihn oben ein.",
  },
  "key-reinstated": {
    says: "Diese Seite vertraut wieder einem Schlüssel, den der Betrieb gestohlen gemeldet hatte.",
    act: "Nicht schreiben. Rufen Sie den Betrieb an.",
  },
  "withdrawals-invalid": {
    says: "Die Liste der zurückgezogenen Revisionen ist beschädigt oder nicht von diesem Betrieb.",
    act: "Bitten Sie den Betrieb um seine neueste Liste der zurückgezogenen Revisionen.",
  },
  "withdrawals-old": {
    says: "Die Liste der zurückgezogenen Revisionen ist älter als eine, die Sie schon verwendet haben.",
    act: "Geben Sie die neueste Liste der zurückgezogenen Revisionen vom Betrieb.",
  },
  "job-list-invalid": {
    says: "Die Liste der Revisionen ist beschädigt oder von anderem Betrieb, Auto oder Steuergerät.",
    act: "Bitten Sie den Betrieb um seine neueste Liste der Revisionen Ihres Autos.",
  },
  "approval-invalid": {
    says: "Die Genehmigung des Betriebs für weitere Änderungen ist beschädigt.",
    act: "Nicht schreiben. Bitten Sie den Betrieb noch einmal um die Datei.",
  },
  "inclusion-invalid": {
    says: "Der Beleg, dass der Betrieb diese Revision in sein Register eingetragen hat, ist keiner.",
    act: "Bitten Sie den Betrieb um den Beleg für genau diese Revision oder lassen Sie ihn weg.",
  },
  "state-damaged": {
    says: "Ihre Merkdatei ist beschädigt.",
    act: "Nehmen Sie eine ältere Kopie davon oder legen Sie sie weg und fangen Sie eine neue an.",
  },
  "withdrawn": {
    says: "Der Betrieb hat diese Revision zurückgezogen.",
    act: "Nicht schreiben. Fragen Sie den Betrieb, welche Revision zu nehmen ist; ist diese schon im Auto, fragen Sie, was zu tun ist.",
  },
  "not-listed": {
    says: "Die Liste der Revisionen vom Betrieb nennt diese nicht.",
    act: "Nicht schreiben. Bitten Sie den Betrieb um seine neueste Liste, und fragen Sie, ob diese Revision verwendet werden soll.",
  },
  "base-old": {
    says: "Diese Revision ist für die Software, die das Steuergerät vor dem Update oder Tausch hatte.",
    act: "Nicht schreiben. Bitten Sie den Betrieb um eine Revision für die Software, die jetzt im Steuergerät ist.",
  },
  "sequence-conflict": {
    says: "Sie haben schon eine andere Revision mit derselben Nummer gesehen.",
    act: "Nicht schreiben. Rufen Sie den Betrieb an: Eine der beiden ist vielleicht falsch.",
  },
  "sequence-old": {
    says: "Das ist eine alte Revision: Eine neuere wurde schon angenommen.",
    act: "Nicht schreiben. Nehmen Sie die neueste. Nur wenn der Betrieb gesagt hat, dass Sie zurückgehen sollen: Sagen Sie es unter „Weiteres“.",
  },
  "rules-changed": {
    says: "Was der Betrieb in Ihrem Steuergerät ändern darf, wurde stillschweigend geändert.",
    act: "Nicht schreiben. Rufen Sie den Betrieb an.",
  },
  "rules-widened": {
    says: "Der Betrieb darf jetzt mehr in Ihrem Steuergerät ändern, und niemand hat das genehmigt.",
    act: "Nicht schreiben. Fragen Sie den Betrieb nach dem Grund und bitten Sie um eine Revision mit Genehmigung.",
  },
  "set-mismatch": {
    says: "Die Dateien gehören zu verschiedenen Autos oder nicht zueinander.",
    act: "Nicht schreiben. Geben Sie nur die Dateien, die der Betrieb zusammen für dieses Auto gesendet hat.",
  },
  "set-incomplete": {
    says: "Diese Revision geht nur zusammen mit einer anderen, und die fehlt.",
    act: "Geben Sie alle Dateien, die der Betrieb zusammen gesendet hat, etwa für Motor und Getriebe.",
  },
  "clock-implausible": {
    says: "Die Uhr dieses Geräts geht falsch, und diese Proberevision hängt davon ab.",
    act: "Stellen Sie Datum und Uhrzeit des Geräts, und prüfen Sie noch einmal.",
  },
  "expired": {
    says: "Diese Revision war zur Probe, und ihre Zeit ist um.",
    act: "Nicht schreiben. Bitten Sie den Betrieb um die endgültige Revision.",
  },
  "read-missing": {
    says: "Ihre eigene Auslesung des Steuergeräts fehlt.",
    act: "Lesen Sie das Steuergerät aus, und geben Sie die Datei oder die Dateien hier.",
  },
  "read-foreign": {
    says: "Die Software in Ihrer Auslesung ist nicht die, für die diese Revision gemacht ist.",
    act: "Nicht schreiben. Lesen Sie noch einmal aus. Bleibt es so, senden Sie die Auslesung an den Betrieb: Update oder Tausch des Steuergeräts ist möglich.",
  },
  "vehicle-mismatch": {
    says: "Die Auslesung ist von einem anderen Auto.",
    act: "Nicht schreiben. Wählen Sie die Auslesung des Autos, für das diese Revision ist, oder bitten Sie den Betrieb um eine für dieses Auto.",
  },
  "vehicle-not-provable": {
    says: "Nichts zeigt, dass diese Auslesung von Ihrem Auto ist.",
    act: "Geben Sie die kleine Salt-Datei, die der Betrieb gesendet hat. Wenn der Betrieb danach fragt, tippen Sie die Fahrzeugbezeichnung.",
  },
  "vehicle-reference": {
    says: "Die Fahrzeugbezeichnung ist nicht die, die der Betrieb für dieses Auto hat.",
    act: "Sehen Sie nach, wie der Betrieb sie schreibt, und tippen Sie sie noch einmal. Stimmt sie, ist diese Datei für ein anderes Auto.",
  },
  "salt-wrong": {
    says: "Die Salt-Datei ist nicht die dieses Auftrags.",
    act: "Geben Sie die Salt-Datei, die der Betrieb für dieses Auto gesendet hat.",
  },
  "read-not-fresh": {
    says: "Das Steuergerät lernt beim Fahren, und diese Auslesung kann veraltet sein.",
    act: "Lesen Sie jetzt aus, fahren Sie nicht, haken Sie an, dass die Auslesung von eben ist, und prüfen Sie noch einmal.",
  },
  "result-mismatch": {
    says: "Was geschrieben würde, ist nicht das, was der Betrieb versiegelt hat.",
    act: "Nicht schreiben. Holen Sie die Datei vom Betrieb noch einmal, und lesen Sie das Steuergerät noch einmal aus.",
  },
  "claim-mismatch": {
    says: "Die Datei vom Betrieb sagt etwas über sich, das nicht stimmt.",
    act: "Nicht schreiben. Verwenden Sie diese Datei nicht, und sagen Sie es dem Betrieb.",
  },
  "confirm-old": {
    says: "Es wurde nichts geschrieben: Das Steuergerät enthält noch dasselbe wie vorher.",
    act: "Sehen Sie nach, was Ihr Schreibgerät gemeldet und welche Datei es genommen hat. Schreiben Sie noch einmal, und lesen Sie wieder aus.",
  },
  "confirm-partial": {
    says: "Es wurde nur ein Teil davon geschrieben.",
    act: "Motor nicht starten. Lassen Sie den Strom an, schreiben Sie dieselbe Datei noch einmal, und lesen Sie wieder aus. Geht das nicht, schreiben Sie Revision 0.",
  },
  "confirm-recorrected": {
    says: "Die Revision ist da, aber Ihr Schreibgerät hat die Prüfsummen geändert.",
    act: "Nicht fahren. Schalten Sie die eigene Korrektur des Geräts aus, schreiben Sie noch einmal, und lesen Sie wieder aus. Sagen Sie es dem Betrieb.",
  },
  "confirm-differs": {
    says: "Das Steuergerät enthält etwas anderes als diese Revision.",
    act: "Nicht fahren. Prüfen Sie, ob Sie die richtige Datei geschrieben haben. Schreiben Sie noch einmal, und lesen Sie wieder aus.",
  },
  "scan-mismatch": {
    says: "Ein Wert, den Sie getippt haben, ist nicht der dieser Revision.",
    act: "Noch nicht fahren. Lassen Sie die Zündung einige Minuten an, und lesen Sie den Wert noch einmal. Bleibt er so, fragen Sie den Betrieb.",
  },
  "sheet-invalid": {
    says: "Das Angebotsblatt des Betriebs ist beschädigt oder von einem anderen Betrieb.",
    act: "Holen Sie das Blatt noch einmal vom Betrieb. Dateien und Worte können Sie auch ohne senden.",
  },
  "customer-file-invalid": {
    says: "Ihre eigene Kundendatei ist beschädigt, oder es ist eine andere Datei.",
    act: "Wählen Sie die richtige Datei. Ist sie verloren, lassen Sie diese Seite eine neue machen und sagen Sie es dem Betrieb am Telefon.",
  },
  "parcel-invalid": {
    says: "Das Paket ist beschädigt, oder seine Teile passen nicht zusammen.",
    act: "Machen Sie das Paket noch einmal, und senden Sie das neue.",
  },
  "parcel-closed": {
    says: "Das Paket ist verschlossen und lässt sich hier nicht öffnen.",
    act: "Nur der Betrieb kann es öffnen. Kann er es nicht, machen Sie das Paket noch einmal und senden Sie das neue.",
  },
  "parcel-other": {
    says: "Das Paket ist für einen anderen Betrieb oder Auftrag oder von einem anderen Kunden.",
    act: "Prüfen Sie, ob Sie die richtige Datei gewählt haben. Wenn ja, rufen Sie den Betrieb an.",
  },
  "parcel-old": {
    says: "Vor diesem Paket kam schon ein neueres von Ihnen.",
    act: "Nehmen Sie das neueste. Haben Sie Ihre Kundendatei verloren, sagen Sie es dem Betrieb am Telefon.",
  },
};
