"""What an event says, in the language of whoever reads it."""

from __future__ import annotations

from datetime import date

from followup.language.catalogues import N_, Translator
from followup.recall.messages.compose import message_text
from followup.recall.messages.wording import MessageKind, Reader
from followup.records.views import Clinic

VISIT = N_("Visit at the clinic.")
# Translators: the title of a day in the calendar of a phone on which the number of drops changes.
DROPS = N_("The drops change.")


def said(
    kind: MessageKind,
    reader: Reader,
    clinic: Clinic,
    day: date,
    words: Translator,
    *,
    hour: str | None = None,
    code: str = "",
) -> str:
    """The message of this kind as it goes to telephones, then the return code of the sheet."""
    lines = [message_text(kind, reader, clinic, day, words, hour=hour, spoken=True)]
    if code:
        lines += [words.gettext("Return code"), code]
    if clinic.is_sample:
        lines.append(words.gettext("Sample clinic"))
    return "\n".join(lines)


def address(clinic: Clinic, place: str | None) -> str:
    """Where the visit is: its own place, or the clinic with its address."""
    return place or "\n".join(line for line in (clinic.name, clinic.address) if line)
