"""A protocol on paper: every rule with its source, its fingerprint, and a place to sign."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

from followup.clinical.protocol.lines import load_toml, where
from followup.clinical.protocol.load import SAMPLE
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.words.protocol import NOT_APPROVED, protocol_words
from followup.errors import FollowupError
from followup.language.fonts import must_be_covered
from followup.sheets.paper.plain import set_plain

# A fixed instant: the same protocol is the same bytes.
_TIMESTAMP = 1_767_225_600


def protocol_pdf(protocol: Protocol, *, signed: str = "") -> bytes:
    """The print as PDF. ``signed`` says who has signed it and when; "" prints a place to sign."""
    data = {
        "name": protocol.name,
        "version": protocol.version,
        "country": protocol.about.country,
        "text": protocol.about.text,
        "hash": fingerprint(protocol.hash),
        "notice": signed or NOT_APPROVED,
        "signed": bool(signed),
        "sections": [asdict(section) for section in protocol_words(protocol)],
    }
    return set_plain("protocol.typ", data, _TIMESTAMP)


def fingerprint(hash_: str) -> str:
    """The first 16 characters of the hash in groups of four, to be compared by eye."""
    return " ".join(hash_[i : i + 4] for i in range(0, 16, 4))


def must_print(protocol: Protocol) -> None:
    """Refuse to approve a protocol that would leave patients without a sheet. Error ``language.glyph``."""
    for text in (protocol.name, protocol.version):
        must_be_covered(text, "protocol")
    for medicine in protocol.formulary.values():
        for text in (medicine.name, medicine.strength):
            must_be_covered(text, medicine.id)


def unprintable(source: Path | None) -> Iterator[FollowupError]:
    """Names of the protocol in ``source`` (else the sample) that stand on every sheet and no font prints.

    By file and line: a medicine's name and strength, the protocol's name and version. Found only after
    signing, they would leave patients without a sheet.
    """
    files = source or SAMPLE
    for file, table, keys in (
        ("protocol.toml", "protocol", ("name", "version")),
        ("formulary.toml", "medicine", ("name", "strength")),
    ):
        data, locate = load_toml(files / file)
        entries = data.get(table, [])
        places = enumerate(entries) if isinstance(entries, list) else [(None, entries)]
        for number, entry in places:
            for key in keys:
                at = (table, key) if number is None else (table, number, key)
                try:
                    must_be_covered(str(entry.get(key, "")), where(files / file, locate, *at))
                except FollowupError as problem:
                    yield problem
