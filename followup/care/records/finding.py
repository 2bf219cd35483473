"""What a typed or scanned text is as a return code, and whom a name, a number or a code means."""

from __future__ import annotations

from followup.care.hand import Hand
from followup.recall.codes.codes import Scan, read_scan
from followup.recall.codes.keyboards import readings
from followup.records.people.patients import search_patients
from followup.records.people.similar import similar_patients
from followup.records.store.store import Session
from followup.records.views import PatientView

LONGEST_SEARCH = 200


def scanned(hand: Hand, text: str) -> Scan:
    """What a text is as a code; a scanner's burst through a foreign keyboard is read back first."""
    keyring, clinic = hand.keyring, hand.clinic.code
    plain = read_scan(text, keyring, clinic)
    if plain.outcome in ("ours", "other clinic"):
        return plain
    for other in readings(text):
        scan = read_scan(other, keyring, clinic)
        # Only the scanned form carries a tag, without which a guess could find a stranger's sheet.
        if scan.outcome == "ours" and scan.clinic:
            return scan
    return plain


def whom(session: Session, scan: Scan, text: str) -> tuple[tuple[PatientView, ...], bool]:
    """Whom ``text`` means; where nobody is written so, those written almost so, and True."""
    if scan.outcome == "other clinic":
        return (), False
    found = search_patients(session, text)
    if found or scan.outcome == "ours":
        return found, False
    alike = similar_patients(session, text)
    return alike, bool(alike)
