"""The plan that fills a sheet most: nine steps, eight visits, four bottles, in the longest words there are.

Which reasons and names are the longest is found for each language; what goes in when is the same in all.
"""

from __future__ import annotations

from datetime import timedelta

from routine_plans import OPERATED, course, day, phase, trip
from told_sheets import CLINIC, PROTOCOL

from followup.clinical.careplan import CarePlan, ReviewNeed
from followup.clinical.day_plan import Bottle
from followup.clinical.record import Record, parse_record
from followup.language.catalogues import translator
from followup.sheets.content import SheetIssue, build_content
from followup.sheets.model import SheetContent
from followup.sheets.options import SheetOptions
from followup.sheets.wording import REASONS

STEPS, VISITS = 9, 8
ROLES = ("steroid", "antibiotic", "nsaid", "pressure")
_TIMES = ("06:00", "08:00", "10:00", "12:00", "14:00", "16:00", "18:00", "20:00", "22:00")
# Times a day of the steroid, step by step; the others end one after the other.
_FALLING = (9, 8, 7, 6, 5, 4, 3, 2, 1)


def longest_reasons(tag: str) -> list[str]:
    """The kinds of visit with the longest reasons, the longest first. Some are said only with a steroid."""
    words = translator(tag)
    kinds = [kind for kind in REASONS if not kind.endswith("-alone")]
    return sorted(kinds, key=lambda kind: -len(words.gettext(REASONS[kind])))[:VISITS]


def _medicines() -> dict[str, str]:
    """The medicine with the longest name of each role that goes into the eye by the drop."""
    drops = [m for m in PROTOCOL.formulary.values() if m.form in ("suspension", "emulsion", "solution")]
    usual = [m for m in drops if "injection" not in m.id and "chamber" not in m.id and m.volume_ml]
    return {
        role: max((m for m in usual if m.role == role), key=lambda m: len(f"{m.name} {m.strength}")).id
        for role in ROLES
    }


def longest_plan(tag: str) -> CarePlan:
    """Every step has a week, and a visit in it."""
    medicines = _medicines()
    falling = [(count, 7) for count in _FALLING]
    courses = (
        course("left:steroid", "steroid", medicines["steroid"], *falling),
        course("left:antibiotic", "antibiotic", medicines["antibiotic"], (4, 21)),
        course("left:nsaid", "nsaid", medicines["nsaid"], (3, 42)),
        course("left:pressure", "pressure", medicines["pressure"], (2, 63)),
    )
    rounds = []
    for at, count in enumerate(_FALLING):
        doses = {"steroid": _TIMES[:count], "pressure": (_TIMES[0], _TIMES[-1])}
        doses |= {"antibiotic": _TIMES[::2][:4]} if at < 3 else {}
        doses |= {"nsaid": _TIMES[::4]} if at < 6 else {}
        rounds.append(phase(7 * at + 1, 7 * at + 7, **{key: " ".join(times) for key, times in doses.items()}))
    kinds = longest_reasons(tag)
    needs = tuple(
        ReviewNeed(
            key=f"left:{kind}", kind=kind, eye="left", service="doctor", tier="C",
            earliest=day(7 * at + 4), target=day(7 * at + 4), latest=day(7 * at + 6),
        )
        for at, kind in enumerate(kinds)
    )  # fmt: skip
    trips = tuple(trip(at + 1, 7 * at + 4, need.key, hour="10:30") for at, need in enumerate(needs))
    supply = tuple(
        Bottle(
            course=one.key, number=1, opened=day(1), discard=min(day(28), one.steps[-1].end), drops=90,
            handed_over=OPERATED,
        )
        for one in courses
    ) + tuple(
        Bottle(
            course=one.key, number=2, opened=day(29), discard=day(56), drops=90,
            handed_over=trips[3].date, handed_over_trip=4,
        )
        for one in (courses[0], courses[3])
    )  # fmt: skip
    return CarePlan(
        patient="P-204", as_of=OPERATED, status="draft", protocol="Sample protocol 1", protocol_hash="0" * 64,
        approved=True, engine="1", courses=courses, rounds=tuple(rounds), supply=supply, needs=needs,
        trips=trips, last_steroid_day={"left": day(63)},
    )  # fmt: skip


def _record() -> Record:
    operation = {
        "eye": "left", "eye_drawn": "left", "date": OPERATED.isoformat(), "procedure": "phacoemulsification",
    }  # fmt: skip
    patient = {
        "code": "P-204", "name": "Maria Antonia Krishnamoorthy-Verhoeven", "birth_date": "1955-03-09",
        "language": "en", "allergies": [{"to": "penicillin", "reaction": "severe"}],
    }  # fmt: skip
    return parse_record({"patient": patient, "operations": [operation]})


def longest_sheet(tag: str, options: SheetOptions | None = None) -> SheetContent:
    """It takes the place of another sheet, whose plan had a medicine and a visit less."""
    plan = longest_plan(tag)
    issue = SheetIssue(
        code_grouped="7KQ2-MX4D-9TA", qr_payload="EYE1.K1.LH.7KQ2MX4D9TA.4F7Q2M8C", number="LH-0042",
        printed_on=OPERATED, replaces=("LH-0038", OPERATED - timedelta(days=1)),
        signed_by="Dr Noor Example",
    )  # fmt: skip
    before = plan.model_copy(update={"courses": plan.courses[:-1], "rounds": (), "trips": plan.trips[:-1]})
    return build_content(
        plan, _record(), PROTOCOL.formulary, CLINIC, language=tag, issue=issue, printed_on=OPERATED,
        aftercare=PROTOCOL.aftercare, previous=before, options=options,
    )  # fmt: skip
