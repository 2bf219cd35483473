"""One entry of a printed protocol, and the section in which it stands."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from followup.clinical.english import MARKS, sentence


@dataclass(frozen=True)
class ProtocolEntry:
    """One rule: its name, what it says, and where it comes from ("" where nobody is asked)."""

    name: str
    says: tuple[str, ...]
    origin: str = ""


@dataclass(frozen=True)
class ProtocolSection:
    title: str
    entries: tuple[ProtocolEntry, ...]


def origin(part: Any) -> str:
    """Reason, source and mark of anything that has them."""
    because = sentence(part.because) + " " if getattr(part, "because", "") else ""
    return f"{because}Source: {part.source} ({part.mark}: {MARKS[part.mark]})."
