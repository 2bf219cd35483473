"""A bundle as a draft of an operative record: what it tells, and line by line what it does not.

Nothing is guessed: what has no plain place in the record is a gap, told in the words of the bundle.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any, get_args
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from followup.clinical.record import Eye, Record
from followup.clinical.record.operation import Procedure
from followup.clinical.record.patient import AllergyTo
from followup.errors import FollowupError
from followup.exchange.fhir.readable import ReadBundle, read_bundle
from followup.exchange.fhir.values import Json, coding, inner, items
from followup.validation import problem_words

_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]{0,23}")
_LANGUAGE = re.compile(r"[a-z]{2,3}(-[A-Za-z0-9]{2,8})*")
_TELEPHONE = re.compile(r"\+?[0-9][0-9 ().-]{3,24}")
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_GONE = ("entered-in-error", "not-done", "refuted")
_OVER = ("inactive", "resolved", "remission")
_GOING_ON = ("active", "recurrence", "relapse")
_NO_MORE = ("old", "maiden")
_LONGEST = timedelta(days=1)
_NAMED = tuple(word for word in get_args(AllergyTo) if word not in ("medicine", "other"))


@dataclass(frozen=True)
class DraftRecord:
    """``record`` as JSON, not whole yet; ``gaps`` tell what is missing or was not taken over, a line each."""

    record: Json
    gaps: tuple[str, ...]


@dataclass
class _Filling:
    """The record as far as it is told; ``zone``: whose clock an instant is put on."""

    bundle: ReadBundle
    zone: ZoneInfo
    patient: Json = field(default_factory=dict)
    operations: list[Json] = field(default_factory=list)
    gaps: list[str] = field(default_factory=list)


def draft_record(data: Json, source: str, zone: ZoneInfo) -> DraftRecord:
    """The draft of the one patient of a bundle.

    Errors: those of ``read_bundle``; ``fhir.patient`` for whoever died or goes on under another record.
    """
    filling = _Filling(read_bundle(data, source), zone)
    _refuse_gone(filling.bundle.patient, source)
    _who(filling)
    _allergies(filling)
    _operations(filling)
    _conditions(filling)
    record: Json = {"patient": filling.patient, "operations": filling.operations}
    gaps = (*filling.gaps, *_missing(record), *filling.bundle.gaps)
    return DraftRecord(record, tuple(dict.fromkeys(" ".join(gap.split()) for gap in gaps)))


def _refuse_gone(patient: Json, source: str) -> None:
    links = [link.get("type") for link in items(patient, "link")]
    if patient.get("deceasedBoolean", False) is not False or "deceasedDateTime" in patient:
        what = "the bundle says that this patient died"
    elif "replaced-by" in links:
        what = "the bundle says that another record replaces this one"
    else:
        return
    raise FollowupError("fhir.patient", what, where=source, fix="ask whoever sent it")


def _who(of: _Filling) -> None:
    told, patient = of.bundle.patient, of.patient
    if told.get("active") is False:
        of.gaps.append("patient: the bundle says that this record is not in use")
    numbers = [_text(one, "value") for one in items(told, "identifier") if _in_use(one)]
    codes = [number for number in numbers if _CODE.fullmatch(number)]
    if len(codes) == 1:
        (patient["code"],) = codes
    else:
        of.gaps.append(f"patient.code: {len(codes)} numbers of the bundle could be it; enter the right one")
    names = [name for name in items(told, "name") if _in_use(name)]
    names.sort(key=lambda name: name.get("use") != "official")
    patient |= {"name": _name(names[0])} if names else {}
    _born(of, _text(told, "birthDate"))
    gender = _text(told, "gender")
    if gender in ("female", "male", "other"):
        patient["sex"] = gender
    _languages(of)
    _telephones(of)


def _in_use(one: Json) -> bool:
    """Whether a name or a number holds: one that has an end may be somebody else's by now."""
    return one.get("use") not in _NO_MORE and "end" not in inner(one, "period")


def _name(name: Json) -> str:
    given = name.get("given")
    parts = [*(given if isinstance(given, list) else []), name.get("family")]
    return _text(name, "text") or " ".join(part for part in parts if isinstance(part, str))


def _born(of: _Filling, born: str) -> None:
    if _DAY.fullmatch(born):
        of.patient["birth_date"] = born
    elif re.fullmatch(r"\d{4}(-\d{2})?", born):
        of.patient["birth_year"] = int(born[:4])


def _languages(of: _Filling) -> None:
    spoken = []
    for one in items(of.bundle.patient, "communication"):
        tags = [tag for tag in _codes(one.get("language")) if _LANGUAGE.fullmatch(tag)]
        spoken += tags[:1]
        if tags and one.get("preferred") is True:
            of.patient.setdefault("language", tags[0])
    if spoken:
        of.patient["speaks"] = list(dict.fromkeys(spoken))[:8]


def _telephones(of: _Filling) -> None:
    found = [{"number": number} for number in _numbers(of.bundle.patient)]
    for contact in items(of.bundle.patient, "contact"):
        words = {word.casefold() for one in items(contact, "relationship") for word in _words(one)}
        whose = [word for word in ("carer", "neighbour") if word in words]
        numbers = _numbers(contact)
        if whose:
            found += [{"number": number, "whose": whose[0]} for number in numbers]
        elif numbers:
            of.gaps.append(f"patient.telephones: whose is {numbers[0]}? A contact of the bundle has it")
    for each in items(of.bundle.patient, "telecom"):
        if not _in_use(each):
            of.gaps.append(f"patient.telephones: {_text(each, 'value')[:40]} is told as no longer in use")
    if found:
        of.patient["telephones"] = found[:10]


def _numbers(one: Json) -> list[str]:
    phones = (each for each in items(one, "telecom") if each.get("system") in ("phone", "sms"))
    used = (_text(phone, "value") for phone in phones if _in_use(phone))
    return [number for number in used if _TELEPHONE.fullmatch(number)]


def _allergies(of: _Filling) -> None:
    listed: list[Json] = []
    words: list[str] = []
    none = False
    for one in of.bundle.others["AllergyIntolerance"]:
        said = _said(one.get("code")) or _substance(one) or "an allergy without words"
        if why := _not_so(one):
            of.gaps.append(f"allergy {said}: {why}; not taken over")
        elif _has_code(one.get("code"), "no-known-allergy"):
            doubt = _doubtful(one)
            none = none or not doubt
            of.gaps += [f"patient.allergies: none is told, but {doubt}"] if doubt else []
        elif said.casefold() in _NAMED:
            listed.append({"to": said.casefold(), "reaction": _reaction(one)})
        else:
            shown = ", ".join(_shown(one))
            words.append(f"{said} ({shown})" if shown else said)
    if listed:
        of.patient["allergies"] = listed
    if words:
        of.patient["allergy_text"] = "; ".join(words)
    if none and (listed or words):
        of.gaps.append("patient.allergies: the bundle says none and names some; ask")
    elif none:
        of.patient["no_other_allergy"] = True
    elif not (listed or words):
        of.gaps.append("patient.allergies: the bundle tells of none; ask")


def _substance(allergy: Json) -> str:
    return next((said for one in items(allergy, "reaction") if (said := _said(one.get("substance")))), "")


def _shown(allergy: Json) -> list[str]:
    """How it showed, in the bundle's words."""
    reactions = items(allergy, "reaction")
    return [said for one in reactions for each in items(one, "manifestation") if (said := _said(each))]


def _reaction(allergy: Json) -> str:
    if any(one.get("severity") == "severe" for one in items(allergy, "reaction")):
        return "severe"
    shown = [word.casefold() for word in _shown(allergy)]
    if shown and set(shown) <= {"rash", "wheeze"}:
        return "wheeze" if "wheeze" in shown else "rash"
    return "other" if shown else "not known"


def _operations(of: _Filling) -> None:
    for one in of.bundle.others["Procedure"]:
        said = _said(one.get("code")) or "a procedure without words"
        status = _text(one, "status")
        kind, eye = _procedure(one), _eye(one)
        if status not in ("completed", "stopped"):
            of.gaps.append(f"procedure {said}: its status is {status or 'not told'}; not taken over")
        elif kind is None and eye is None:
            of.gaps.append(f"procedure {said}: no operation that this record knows; not taken over")
        else:
            of.operations.append(_operation(of, one, kind, eye, halted=status == "stopped"))
    for number in range(len(of.operations)):
        of.gaps.append(f"operations.{number}.eye_drawn: point at the eye on the drawing")
        of.gaps.append(
            f"operations.{number}: what happened in it (chamber, capsule, vitreous, lens, wound, medicines "
            "left in the eye) is not told by FHIR; enter it"
        )


def _operation(of: _Filling, one: Json, kind: str | None, eye: Eye | None, *, halted: bool) -> Json:
    surgeons = [_text(inner(each, "actor"), "display") for each in items(one, "performer")]
    notes = [_text(note, "text") for note in items(one, "note")]
    told = {
        "eye": eye,
        "procedure": kind,
        "halted": halted or None,
        "surgeon": next((name for name in surgeons if name), None),
        "free_text": "\n".join(note for note in notes if note) or None,
        **_performed(of, one),
    }
    if kind is None:
        of.gaps.append(f"operations.{len(of.operations)}.procedure: the bundle says {_said(one.get('code'))}")
    return {name: value for name, value in told.items() if value is not None}


def _procedure(one: Json) -> str | None:
    if _has_code(one.get("code"), "phacoemulsification"):
        return "phacoemulsification"
    return next((word for word in _words(one.get("code")) if word in get_args(Procedure)), None)


def _eye(one: Json) -> Eye | None:
    """The one eye that every site names, by code or in these words; None where none, both or another one.

    None too where a site or what was done or found is told in words of the other side.
    """
    found = {_eye_of(site) for site in items(one, "bodySite")}
    eye = found.pop() if len(found) == 1 else None
    said = {part for word in _words(one.get("code")) for part in re.findall(r"[a-z]+", word.casefold())}
    return None if eye is None or said & _against(eye) else eye


def _eye_of(site: Json) -> Eye | None:
    words = {word.casefold() for word in _words(site)}
    eyes: tuple[Eye, Eye] = ("right", "left")
    found = [eye for eye in eyes if _has_code(site, f"{eye}-eye") or f"{eye} eye" in words]
    parts = {part for word in words for part in re.findall(r"[a-z]+", word)}
    return found[0] if len(found) == 1 and not parts & _against(found[0]) else None


def _against(eye: Eye) -> set[str]:
    """Words that do not go with this eye alone."""
    return {"both", "bilateral", "left" if eye == "right" else "right"}


def _performed(of: _Filling, one: Json) -> Json:
    """The day by the clinic's clock, and the hours where both are told."""
    period = inner(one, "performedPeriod")
    begun, over = _moment(of, _text(period, "start")), _moment(of, _text(period, "end"))
    only = _moment(of, _text(one, "performedDateTime"))
    day = only or begun
    if isinstance(begun, datetime) and isinstance(over, datetime):
        if only or not timedelta(0) <= over - begun < _LONGEST:
            of.gaps.append(
                f"operations.{len(of.operations)}.date: {begun} to {over} is told; enter day and hours"
            )
            return {}
        return {"date": begun.date().isoformat(), "start": f"{begun:%H:%M}", "end": f"{over:%H:%M}"}
    if day is None:
        return {}
    return {"date": (day.date() if isinstance(day, datetime) else day).isoformat()}


def _moment(of: _Filling, text: str) -> date | datetime | None:
    """A whole day, or an instant on the clinic's clock; None for part of a date or none."""
    try:
        if _DAY.fullmatch(text):
            return date.fromisoformat(text)
        at = datetime.fromisoformat(text)
        return at.astimezone(of.zone) if at.tzinfo else None
    except (ValueError, OverflowError):
        return None


def _conditions(of: _Filling) -> None:
    for one in of.bundle.others["Condition"]:
        said = _said(one.get("code")) or "a condition without words"
        why = _not_so(one) or _doubtful(one) or _uncertain(one)
        if why:
            of.gaps.append(f"condition {said}: {why}; not taken over")
            continue
        meant = next((each for each in _known() if _is_coded(one, each["codes"])), None)
        if meant is None:
            of.gaps.append(f"condition {said}: no code that this record knows; enter it where it belongs")
        elif not meant.get("eye"):
            _put(of.patient, meant["field"], meant["value"])
        elif eye := _eye(one):
            _put(of.patient, meant["field"].replace("eyes.", f"eyes.{eye}."), meant["value"])
        else:
            of.gaps.append(f"condition {said}: of which eye? Not taken over")


@cache
def _known() -> tuple[Json, ...]:
    table = tomllib.loads(Path(__file__).with_name("conditions.toml").read_text("utf-8"))
    return tuple(table["condition"])


def _is_coded(one: Json, codes: list[str]) -> bool:
    """By ICD-10, also with digits behind the point."""
    systems = ("http://hl7.org/fhir/sid/icd-10", "http://hl7.org/fhir/sid/icd-10-cm")
    own = [
        _text(each, "code") for each in items(inner(one, "code"), "coding") if each.get("system") in systems
    ]
    return any(code == known or code.startswith(f"{known}.") for code in own for known in codes)


def _put(patient: Json, path: str, value: Any) -> None:
    *homes, name = path.split(".")
    place = patient
    for home in homes:
        place = place.setdefault(home, {})
    place[name] = value


def _not_so(one: Json) -> str:
    """Why it does not hold of the patient now; empty where it does."""
    status = [*_status(one, "verificationStatus"), *_status(one, "clinicalStatus")]
    gone = next((code for code in status if code in (*_GONE, *_OVER)), "")
    if not gone and any(name.startswith("abatement") for name in one):
        gone = "that it ended"
    return f"the bundle says {gone}" if gone else ""


def _doubtful(one: Json) -> str:
    return _asked(code for code in _status(one, "verificationStatus") if code != "confirmed")


def _uncertain(one: Json) -> str:
    return _asked(code for code in _status(one, "clinicalStatus") if code not in _GOING_ON)


def _asked(codes: Iterator[str]) -> str:
    code = next(codes, "")
    return f"the bundle says {code}: ask" if code else ""


def _status(one: Json, name: str) -> list[str]:
    """The codes of a status; its words where a program sent no code."""
    return _codes(one.get(name)) or [word.casefold() for word in _words(one.get(name))]


def _missing(record: Json) -> Iterator[str]:
    """What a record needs and the draft has not, or has in a way that no record takes."""
    try:
        Record.model_validate(record)
    except ValidationError as exc:
        for problem in exc.errors(include_url=False, include_input=False):
            place = ".".join(str(part) for part in problem["loc"])
            if not place.endswith("eye_drawn"):
                yield f"{place or 'record'}: {problem_words(problem)}"


def _text(one: Json, name: str) -> str:
    found = one.get(name)
    return found.strip() if isinstance(found, str) else ""


def _codes(concept: Any) -> list[str]:
    coded = items(concept, "coding") if isinstance(concept, dict) else []
    return [code for one in coded if (code := _text(one, "code"))]


def _has_code(concept: Any, name: str) -> bool:
    """Whether it holds this code of ``codes.toml``: in its own system, as others mean other things by it."""
    known = coding(name)
    coded = items(concept, "coding") if isinstance(concept, dict) else []
    return any((one.get("system"), _text(one, "code")) == (known["system"], known["code"]) for one in coded)


def _words(concept: Any) -> list[str]:
    """What a concept says, its own text first."""
    if not isinstance(concept, dict):
        return []
    coded = [_text(one, "display") for one in items(concept, "coding")]
    return [word for word in (_text(concept, "text"), *coded) if word]


def _said(concept: Any) -> str:
    return next(iter((*_words(concept), *_codes(concept))), "")[:200]
