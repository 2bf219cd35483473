"""A letter stays with its bottle over every version of a plan, and is never given to another bottle."""

from __future__ import annotations

import re
from collections import Counter
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from leaf_rows import rows_of_days, rows_of_visits

from followup.clinical.careplan import CarePlan, Course, Step
from followup.clinical.day_plan import Bottle, DayPhase, Dose
from followup.clinical.protocol.load import load_protocol
from followup.sheets.content import build_content
from followup.sheets.options import SheetOptions
from followup.sheets.phone import render_phone

FORMULARY = load_protocol().formulary
DAY = date(2026, 6, 1)
# The capital of each role, as the marks of bottles are agreed on (H: hypertonic salt).
CAPITAL = {
    "steroid": "S",
    "nsaid": "N",
    "antibiotic": "A",
    "cycloplegic": "C",
    "pressure": "P",
    "lubricant": "L",
    "salt": "H",
    "antiviral": "V",
    "steroid tablet": "T",
    "other": "O",
}
# Of each role a few that the label tells apart.
LABELS = Counter(m.label for m in FORMULARY.values())
MEDICINES = {
    role: sorted(m.id for m in FORMULARY.values() if m.role == role and LABELS[m.label] == 1)[:4]
    for role in ("steroid", "nsaid", "antibiotic", "pressure", "steroid tablet")
}


def _course(eye: str, medicine: str, state: str, count: int) -> Course:
    found = FORMULARY[medicine]
    by_mouth = found.route == "mouth"
    return Course(
        key=f"{'mouth' if by_mouth else eye}:{medicine}",
        role=found.role,
        medicine=medicine,
        eye=None if by_mouth else eye,
        state=state,
        steps=(Step(start=DAY, days=7, count=count),),
    )


def _plan(courses: list[Course]) -> CarePlan:
    unique = tuple({c.key: c for c in courses}.values())
    active = [c for c in unique if c.state == "active"]
    doses = tuple(Dose(course=c.key, count=1, times=("06:00",)) for c in active)
    return CarePlan(
        patient="P-204",
        as_of=DAY,
        status="draft",
        protocol="p",
        protocol_hash="0" * 64,
        approved=True,
        engine="1",
        courses=unique,
        rounds=(DayPhase(start=DAY, end=DAY, times=("06:00",), doses=doses),) if doses else (),
        supply=tuple(
            Bottle(course=c.key, number=1, opened=DAY, discard=DAY, drops=9, handed_over=DAY) for c in active
        ),
    )


bottles = st.builds(
    _course,
    st.sampled_from(["left", "right"]),
    st.sampled_from([m for found in MEDICINES.values() for m in found]),
    # Held, stopped and resumed; a count that is raised; whatever a list leaves out is taken away altogether.
    st.sampled_from(["active", "active", "held", "stopped"]),
    st.integers(1, 8),
)
versions = st.lists(st.lists(bottles, max_size=6).map(_plan), min_size=2, max_size=5)


def _marks(content) -> dict[str, set[str]]:
    """Every letter that the sheet has anywhere, by the name of the medicine."""
    found: dict[str, set[str]] = {}
    drawn = [mark.bottle for row in rows_of_days(content) for mark in row.marks]
    handed = [b for visit in rows_of_visits(content) for given in visit.handed for b in given.bottles]
    for bottle in (*(block.bottle for block in content.bottles), *drawn, *handed):
        found.setdefault(bottle.name, set()).add(bottle.letter)
    return found


@settings(max_examples=40)
@given(plans=versions)
def test_a_letter_is_one_bottle_s_over_all_versions_of_a_plan(plans, make_record_once, clinic_once):
    known: dict[str, str] = {}
    for at, plan in enumerate(plans):
        content = build_content(
            plan,
            make_record_once,
            FORMULARY,
            clinic_once,
            printed_on=DAY,
            earlier=tuple(plans[:at]),
            options=SheetOptions(calendar=True),
        )
        for name, letters in _marks(content).items():
            assert len(letters) == 1, f"{name} has one letter on all of the sheet"
            assert known.setdefault(name, *letters) == min(letters), f"{name} keeps its letter"
    for name, letter in known.items():
        roles = {m.role for m in FORMULARY.values() if m.name in name and m.strength in name}
        assert re.fullmatch(rf"[{''.join(CAPITAL[role] for role in roles)}]([2-9]|[1-9]\d)?", letter)
    assert len(set(known.values())) == len(known), "no letter is given to another bottle"


@pytest.fixture(scope="module")
def make_record_once():
    from two_eyes import record

    return record(code="P-204", birth_date="1955-03-09", allergies=[])


@pytest.fixture(scope="module")
def clinic_once():
    from two_eyes import CLINIC

    return CLINIC


LATANOPROST, TIMOLOL, DORZOLAMIDE = "latanoprost-0-005", "timolol-0-5", "dorzolamide-2"


@pytest.mark.parametrize(
    ("versions", "letters"),
    [
        ([[LATANOPROST, TIMOLOL], [TIMOLOL]], {TIMOLOL: "P2"}),
        ([[LATANOPROST, TIMOLOL], [TIMOLOL, LATANOPROST]], {LATANOPROST: "P", TIMOLOL: "P2"}),
        ([[TIMOLOL], [DORZOLAMIDE]], {DORZOLAMIDE: "P2"}),
        ([[LATANOPROST], [], [LATANOPROST, TIMOLOL]], {LATANOPROST: "P", TIMOLOL: "P2"}),
        ([[LATANOPROST, TIMOLOL], [LATANOPROST], [DORZOLAMIDE, TIMOLOL]], {DORZOLAMIDE: "P3", TIMOLOL: "P2"}),
    ],
    ids=["taken away", "in another order", "replaced", "resumed", "replaced and resumed"],
)
def test_a_bottle_that_is_gone_leaves_its_letter_to_no_other(
    versions, letters, make_record_once, clinic_once
):
    plans = [_plan([_course("left", medicine, "active", 1) for medicine in found]) for found in versions]
    content = build_content(
        plans[-1], make_record_once, FORMULARY, clinic_once, printed_on=DAY, earlier=tuple(plans[:-1])
    )
    assert {block.bottle.name: block.bottle.letter for block in content.bottles} == {
        FORMULARY[medicine].label: letter for medicine, letter in letters.items()
    }


def test_the_two_eyes_bottles_of_one_medicine_have_one_letter_and_marks_of_two_forms(
    make_record_once, clinic_once
):
    plan = _plan([_course(eye, LATANOPROST, "active", 1) for eye in ("left", "right")])
    options = SheetOptions(pictures=True)
    content = build_content(plan, make_record_once, FORMULARY, clinic_once, printed_on=DAY, options=options)
    assert [(b.bottle.eye, b.bottle.side, b.bottle.letter) for b in content.bottles] == [
        ("Right eye", "right", "P"),
        ("Left eye", "left", "P"),
    ]
    page = render_phone(content)
    spans = re.findall(
        r'<span class="letter (\w+)" dir="ltr">(\w+)</span>\s*<span class="named"><b>([^<]+)</b>'
        r'\s*<span class="eye">([^<]+)',
        page,
    )
    assert set(spans) == {
        ("right", "P", "Latanoprost 0.005%", "Right eye"),
        ("left", "P", "Latanoprost 0.005%", "Left eye"),
    }
