"""Every sentence that is translated can come to stand somewhere: none is kept that nothing prints."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from importlib.resources import files
from typing import get_args

import pytest

from followup.clinical.careplan import BeforeLeaving
from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import parse_json_object, parse_record
from followup.clinical.record.base import MedicineRole
from followup.clinical.record.patient import Allergy
from followup.language.catalogues import Translator, translator
from followup.language.extraction import sheet_messages
from followup.sheets.content import build_content
from followup.sheets.options import SheetOptions
from followup.sheets.paper.cover import cover
from followup.sheets.wording import ADVICE, ALLERGIES, BEFORE_LEAVING, PURPOSES, REACTIONS, REASONS

EVERYTHING = SheetOptions(twin="en", native_digits=True, calendar=True)
PROTOCOL = load_protocol()
OPERATED = date(2026, 6, 1)
_BY_OTHERS = ("followup/recall/", "followup/exchange/agenda/")


@pytest.fixture
def asked_for(monkeypatch) -> set[str]:
    """The messages that were put into words since the test began."""
    found: set[str] = set()
    once = Translator._find

    def find(self, context, message, *otherwise):
        found.add(message)
        return once(self, context, message, *otherwise)

    monkeypatch.setattr(Translator, "_find", find)
    return found


def test_every_message_of_a_table_has_what_asks_for_it():
    """A kind of look, a role, a code of the record or a rule of the protocol leads to each of them."""
    assert set(ADVICE) == {advice.id for advice in PROTOCOL.aftercare.advice}
    asked = {rule.caution.sheet for rule in PROTOCOL.rules if rule.caution}
    asked |= {rule.sheet for rule in PROTOCOL.cautions.cautions}
    assert {a.id for a in PROTOCOL.aftercare.advice if a.asked} <= asked
    assert set(REASONS) - {"other", "pressure-alone", "calm"} <= set(PROTOCOL.kinds)
    assert set(PURPOSES) == set(get_args(MedicineRole))
    assert set(ALLERGIES) <= set(get_args(Allergy.model_fields["to"].annotation))
    assert set(REACTIONS) <= set(get_args(Allergy.model_fields["reaction"].annotation))
    kinds = {rule.before_leaving.kind for rule in PROTOCOL.rules if rule.before_leaving}
    assert set(BEFORE_LEAVING) - {"other"} <= kinds


def _tables() -> set[str]:
    tables = (ADVICE, REASONS, PURPOSES, ALLERGIES, REACTIONS, BEFORE_LEAVING)
    return {message for table in tables for message in table.values()}


def test_every_other_message_is_printed_by_some_sheet(asked_for, print_many):
    print_many()
    messages = {
        m.id if isinstance(m.id, str) else m.id[0]
        for m in sheet_messages()
        if m.id and not all(place.startswith(_BY_OTHERS) for place, _ in m.locations)
    }
    assert sorted(messages - asked_for - _tables()) == []


def _tablets(medicine: str, mg: float, count: int = 1, **more) -> dict:
    entry = {"medicine": medicine, "route": "mouth", "mg": mg, "count_a_day": count}
    return entry | {"ordered_by": "Dr Example"} | more


def _told(**changes) -> dict:
    """A record whose left eye is operated, and whose right eye was ten days before."""
    operation = {
        "eye": "left",
        "eye_drawn": "left",
        "procedure": "phacoemulsification",
        "date": "2026-03-02",
        "end": "09:20",
        "pad": True,
        "cut_mm": 2.4,
        "stitches": 0,
        "watertight": True,
        "chamber": "normal",
        "lens": "bag",
        "viscoelastic": {"removed": "doubtful"},
        "antibiotic_in_chamber": True,
        "air_or_gas": "gas",
    }
    first = {"eye": "right", "eye_drawn": "right", "date": "2026-02-20", "air_or_gas": "none"}
    told = {
        "patient": {
            "code": "P-1",
            "name": "Invented Person",
            "birth_date": "1955-03-09",
            "language": "en",
            "drops_by": {"who": "relative"},
            "allergies": [{"to": "aspirin", "reaction": "rash"}, {"to": "sulphite", "reaction": "other"}],
            "allergy_text": "strawberries",
            "waking": {"rise": "16:00", "bedtime": "09:00"},
        },
        "operations": [operation | first, operation],
        "trips": [{"date": "2026-03-03", "status": "booked", "hour": "10:30", "cannot_move": True}],
    }
    return told | changes


@pytest.fixture
def print_many(make_content, make_plan, make_record, clinic, issue):
    """Prints sheets of every sort that there is."""
    here = replace(clinic, address="4 Mill Road", sample=True)

    def from_record(told: dict, later: int = 0, language: str = "hi", **given):
        record = parse_record(told)
        plan = build_plan(record, PROTOCOL, as_of=record.last_operation_day)
        day = record.last_operation_day + timedelta(days=later)
        return build_content(
            plan, record, PROTOCOL.formulary, here, language=language, printed_on=day, **given
        )

    def changed(**plans):
        make_content(printed_on=OPERATED + timedelta(days=7), **plans)

    def print_all() -> None:
        cover(translator("en"), OPERATED, (), (), part=1, parts=2)
        told = [path for path in (files("followup") / "demo" / "cases").iterdir() if path.suffix == ".json"]
        for path in told:
            if not path.name.startswith("12"):
                record = parse_json_object(path.read_text("utf-8"), path.name)
                for later in (0, 20):
                    from_record(
                        record, later, options=SheetOptions(twin="en", native_digits=True, calendar=True)
                    )
        tablets = (
            [_tablets("prednisolone-5-tablet", 2.5, until="2026-05-01")],
            [_tablets("prednisolone-5-tablet", 7.5)],
            [_tablets("prednisolone-5-tablet", 20), {"medicine": "dorzolamide-2", "eye": "left"}],
            [_tablets("prednisolone-5-tablet", 3.3)],
            [_tablets("acetazolamide-250-capsule", 500, 2)],
            [{"medicine": "dorzolamide-2", "eye": "both", "count_a_day": 2, "until": "2026-06-01"}],
        )
        for in_use in tablets:
            from_record(_told(in_use=in_use), options=SheetOptions(pictures=True, calendar=True))
        from_record(_told(in_use=tablets[2]), 200, options=SheetOptions(calendar=True))
        single = _told()
        single["operations"] = [o | {"preservative_free": True} for o in single["operations"]]
        single["patient"]["eyes"] = {"left": {"uveitis": {"kind": "anterior", "last_active": "2023-01-01"}}}
        from_record(single)
        _print_by_hand(make_content, make_plan, make_record, issue, changed)

    return print_all


def _print_by_hand(make_content, make_plan, make_record, issue, changed) -> None:
    """What no told record leads to: a sheet after a review, an ointment, the words for the staff."""
    plan = make_plan(approved=True)
    steroid, *others = plan.courses
    first, second, *rest = steroid.steps
    raised = steroid.model_copy(update={"steps": (first, second.model_copy(update={"count": 8}), *rest)})
    short = steroid.model_copy(update={"steps": steroid.steps[:3]})
    other = steroid.model_copy(update={"medicine": "dorzolamide-2"})
    for courses, trips in (
        ((raised, *others), plan.trips[2:]),
        ((short, *others), plan.trips),
        ((other, *others), plan.trips),
        (tuple(others), ()),
        ((steroid,), plan.trips),
    ):
        new = plan.model_copy(update={"courses": courses, "trips": trips, "rounds": ()})
        changed(plan=new, previous=plan)
        changed(plan=plan, previous=new)
    ointment = others[0].model_copy(update={"medicine": "chloramphenicol-ointment", "as_needed": True})
    make_content(plan=plan.model_copy(update={"courses": (steroid, ointment, others[1])}))
    one_day = plan.rounds[0].model_copy(update={"end": plan.rounds[0].start})
    make_content(plan=plan.model_copy(update={"rounds": (one_day,)}))
    make_content(issue=replace(issue, replaces=("LH-0041", OPERATED)))
    make_content(plan=make_plan(), issue=None, record=make_record(language="so"))
    hours = BeforeLeaving(
        key="left:x", kind="pressure", eye="left", earliest="12:20", latest="16:20", text="for the staff"
    )
    make_content(plan=plan.model_copy(update={"before_leaving": (hours,)}))
    for clock in ("14:30", "19:00", "21:00"):
        said = hours.model_copy(update={"latest": clock})
        make_content(plan=plan.model_copy(update={"before_leaving": (said,)}), language="hi")
    for apart in (1, 2):
        times = tuple(f"{hour:02}:00" for hour in range(2, 22, apart))
        often = tuple(dose.model_copy(update={"times": times}) for dose in plan.rounds[0].doses)
        round_ = plan.rounds[0].model_copy(update={"times": times, "doses": often})
        make_content(plan=plan.model_copy(update={"rounds": (round_,)}))
    elsewhere = plan.trips[0].model_copy(update={"place": "the ward", "hours": ("09:00", "10:00")})
    make_content(plan=plan.model_copy(update={"trips": (elsewhere,)}))
    make_content(plan=plan.model_copy(update={"trips": (elsewhere.model_copy(update={"hours": None}),)}))
