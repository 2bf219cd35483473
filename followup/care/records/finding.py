"""What a typed or scanned text is as a return code."""

from __future__ import annotations

from followup.care.hand import Hand
from followup.recall.codes.codes import Scan, read_scan
from followup.recall.codes.keyboards import readings

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
