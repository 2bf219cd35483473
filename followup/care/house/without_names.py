"""The clinic's patients handed on without names, for research or for help."""

from __future__ import annotations

import json
import secrets
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from followup.care.fields.labels import LABELS
from followup.care.house.whole_clinic import new_file
from followup.clinical.protocol.protocol import Protocol
from followup.exchange.archive.zipped import ZipOut
from followup.exchange.pseudonyms.dictionary import Measured, dictionary, read_me
from followup.exchange.pseudonyms.fields import Veil
from followup.exchange.pseudonyms.lines import (
    OnePatient,
    alone_by_intervals,
    contact_lines,
    course_lines,
    last_happened,
    outline,
    patient_line,
    small_groups,
    visit_lines,
)
from followup.records.desk.attempts import attempts_of, standing_of
from followup.records.jobs.refilling import note_handed_over
from followup.records.people.patients import every_patient, newest_record
from followup.records.plans.plans import plans_of
from followup.records.store.store import Session, Store
from followup.records.trips.trips import trips_of
from followup.records.views import Actor

# Far from every day that a record may hold: nobody takes a moved day for a true one.
_FIRST, _DAYS = date(2200, 1, 1), 36_500
_KEY_BYTES = 8
# The day of the export, beside the last day of somebody who is still being seen, would tell the true days.
_NO_DAY = datetime(1980, 1, 1, tzinfo=UTC)
_NEAR = timedelta(days=7)


@dataclass(frozen=True)
class _Chance:
    """Made for one export and forgotten with it: a patient's key, and where the ``first`` day lies."""

    key: str
    first: date


def hand_on_without_names(
    store: Store, to: Path, protocol: Protocol, *, by: Actor, now: datetime
) -> Measured:
    """Write everybody into the new file ``to``, a ZIP of JSON Lines with a dictionary, and into the journal
    that it was done. What was counted of how well it hides. Errors: ``file.write``.
    """
    with new_file(to) as out:
        with store.read() as session:
            chance = {
                one: _Chance(secrets.token_hex(_KEY_BYTES), _some_day()) for one in every_patient(session)
            }
            # In the order of the keys: that in which people were entered would tell who they are.
            order = sorted(chance.items(), key=lambda one: one[1].key)

            def everybody() -> Iterator[OnePatient]:
                return (_told(session, protocol, patient, made) for patient, made in order)

            outlines = [outline(one) for one in everybody()]
            small = small_groups(outlines)
            since = [now.date() - last_happened(one) for one in everybody()]
            measured = Measured(
                len(outlines),
                sum(one.group in small for one in outlines),
                alone_by_intervals(outlines),
                sum(abs(one) <= _NEAR for one in since),
            )
            kinds = frozenset(protocol.kinds)
            with ZipOut(out, _NO_DAY) as archive:
                archive.put("README.txt", [read_me(measured).encode()])
                archive.put("dictionary.json", [_json(dictionary(measured, _meanings()), indent=1)])
                archive.put("patients.jsonl", (_json(patient_line(one, small)) for one in everybody()))
                archive.put("courses.jsonl", _lines(course_lines(one) for one in everybody()))
                archive.put("visits.jsonl", _lines(visit_lines(one, kinds) for one in everybody()))
                archive.put("contacts.jsonl", _lines(contact_lines(one) for one in everybody()))
        with store.write(by, now) as unit:
            note_handed_over(unit, "exported without names", file=to.name, patients=measured.patients)
    return measured


def _told(session: Session, protocol: Protocol, patient: int, made: _Chance) -> OnePatient:
    record = newest_record(session, patient).record
    veil = Veil(made.first - record.first_day, frozenset(protocol.formulary))
    return OnePatient(
        made.key,
        veil,
        record,
        tuple(
            sorted((one for one in plans_of(session, patient) if one.signed_at), key=lambda one: one.number)
        ),
        trips_of(session, patient),
        attempts_of(session, [patient]).get(patient, ()),
        standing_of(session, patient),
    )


def _some_day() -> date:
    return _FIRST + timedelta(days=secrets.randbelow(_DAYS))


def _meanings() -> dict[str, str]:
    return {name: ": ".join(filter(None, label)) for name, label in LABELS.items()}


def _lines(groups: Iterable[Iterable[Mapping[str, object]]]) -> Iterator[bytes]:
    for rows in groups:
        for row in rows:
            yield _json(row)


def _json(content: Mapping[str, object], *, indent: int | None = None) -> bytes:
    separators = (",", ": ") if indent else (",", ":")
    return (json.dumps(content, ensure_ascii=False, indent=indent, separators=separators) + "\n").encode()
