"""Sentences that stood on sheets beside their opposite, or days after they were over."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from leaf_rows import by_letter, home, plain, rows_of_days, told

from followup.clinical.careplan import Caution

OPERATED = date(2026, 6, 1)


def _cautions(content) -> tuple[str, ...]:
    return content.cautions.lines if content.cautions else ()


def _asks(*sentences: str) -> tuple[Caution, ...]:
    return tuple(Caution(id=s, text="for the staff", eye="left", level="warn", sheet=s) for s in sentences)


def _later(days: int) -> date:
    return OPERATED + timedelta(days=days)


def _operated(record, **changes):
    operation = record.operations[0].model_copy(update=changes)
    return record.model_copy(update={"operations": (operation,)})


def test_nobody_is_told_to_stay_tonight_a_week_later(make_content, make_plan):
    plan = make_plan(approved=True, cautions=_asks("stay-the-night"))
    assert "tonight" in " ".join(_cautions(make_content(plan=plan)))
    assert "tonight" not in " ".join(_cautions(make_content(plan=plan, printed_on=_later(7))))


def test_no_steroid_now_does_not_stand_beside_start_it_now(make_content, make_plan):
    plan = make_plan(approved=True, cautions=_asks("no-drops-rescue"))
    without = plan.model_copy(
        update={"courses": tuple(c for c in plan.courses if c.role != "steroid"), "rounds": ()}
    )
    started = make_content(plan=plan, previous=without)
    assert "Left eye, Prednisolone acetate 1%: start it now." in started.changes
    assert not [line for line in _cautions(started) if "no steroid drops" in line]
    assert [line for line in _cautions(make_content(plan=without)) if "no steroid drops" in line]


def test_what_is_ordinary_has_its_end_and_goes_with_it(make_content):
    def ordinary(day: date):
        section = make_content(printed_on=day).ordinary
        return section and section.lines

    assert ordinary(OPERATED)[1] == "Until about Thursday 4 June 2026 things may look bluish."
    assert len(ordinary(_later(5))) == 1
    assert ordinary(_later(28)) is None


def test_who_has_no_drops_is_told_nothing_about_drops(make_content, make_plan):
    bare = make_content(plan=make_plan(approved=True, courses=(), rounds=(), supply=()))
    assert "Carry the drops" not in " ".join(bare.teach_back.lines)
    assert "If you fast" not in told(bare)
    assert (bare.how_to, bare.stopping, bare.bottle_care, bare.bottles) == (None, None, None, ())
    assert bare.table.none == "No drops at fixed times."
    assert bare.table.rules == ()


@pytest.mark.parametrize(("days", "told"), [(0, True), (1, False), (8, False)])
def test_a_pad_is_spoken_of_until_the_morning_on_which_it_comes_off(days, told, make_content, make_record):
    record = _operated(make_record(), pad=True)
    lines = _cautions(make_content(record=record, printed_on=_later(days)))
    pad = "The pad stays on until the morning of Tuesday 2 June 2026. Then it comes off and the drops begin."
    assert (pad in lines) is told
    assert not [line for line in _cautions(make_content()) if "pad" in line], "no pad was put on"


def test_a_clear_shield_is_worn_as_long_as_a_shield(make_content, make_plan):
    plan = make_plan(approved=True, cautions=_asks("clear-shield"))
    assert [
        line for line in _cautions(make_content(plan=plan, printed_on=_later(7))) if "clear shield" in line
    ]
    assert not [
        line for line in _cautions(make_content(plan=plan, printed_on=_later(8))) if "clear shield" in line
    ]


def test_a_bandage_lens_that_was_taken_out_is_not_spoken_of(make_content, make_plan, make_record):
    record = _operated(make_record(), bandage_lens=True)
    plan = make_plan(approved=True)
    look = plan.needs[1].model_copy(update={"key": "left:bandage-lens", "kind": "bandage-lens"})
    out = look.model_copy(update={"state": "served", "served_on": _later(7)})

    def rules(need, day: date) -> str:
        with_need = plan.model_copy(update={"needs": (*plan.needs, need)})
        return told(make_content(record=record, plan=with_need, printed_on=day))

    assert "Leave it in." in rules(look, _later(6))
    assert "Leave it in." in rules(out, _later(6))
    assert "Leave it in." not in rules(out, _later(8))


def test_where_a_sentence_holds_for_one_of_two_eyes_it_names_the_eye(make_content, make_record):
    record = _operated(make_record(), air_or_gas="gas")
    other = record.operations[0].model_copy(
        update={"eye": "right", "eye_drawn": "right", "air_or_gas": "none"}
    )
    both = record.model_copy(update={"operations": (other, *record.operations)})
    always = home(make_content(record=both))["From now on:"]
    assert [line for line in always if line.startswith("Left eye: There is a gas bubble in your eye.")]


def test_a_check_before_leaving_ends_with_the_day_of_its_own_eyes_operation(
    make_content, make_plan, make_record
):
    from followup.clinical.careplan import BeforeLeaving

    record = make_record()
    later = record.operations[0].model_copy(update={"eye": "right", "eye_drawn": "right", "date": _later(10)})
    both = record.model_copy(update={"operations": (*record.operations, later)})
    checks = tuple(
        BeforeLeaving(key=f"{eye}:x", kind=kind, eye=eye, earliest=None, latest=None, text="for the staff")
        for eye, kind in (("left", "pressure"), ("right", "other"))
    )
    plan = make_plan(approved=True, before_leaving=checks)
    found = make_content(record=both, plan=plan, printed_on=_later(10)).before_leaving
    assert found.lines == ("The doctor looks at your eye once more.",)
    assert make_content(record=both, plan=plan, printed_on=_later(11)).before_leaving is None


@pytest.mark.parametrize(
    ("born", "sex", "told"),
    [("1990-01-01", "female", True), ("1955-03-09", "female", False), ("1990-01-01", "male", False)],
)
def test_pregnancy_is_asked_of_whom_it_may_concern(born, sex, told, make_content, make_record):
    lines = _cautions(make_content(record=make_record(birth_date=born, sex=sex)))
    assert bool([line for line in lines if "pregnant" in line]) is told


def test_an_allergy_to_sulphite_warns_while_a_drop_with_sulphite_is_used(make_content, make_plan, formulary):
    plan = make_plan(approved=True, cautions=_asks("sulphite"))
    assert not [line for line in _cautions(make_content(plan=plan)) if "short of breath" in line]
    steroid = formulary["prednisolone-acetate-1"]
    formulary["prednisolone-acetate-1"] = steroid.model_copy(update={"excipients": ("sulphite",)})
    assert [line for line in _cautions(make_content(plan=plan)) if "short of breath" in line]
    assert not [
        line
        for line in _cautions(make_content(plan=plan, printed_on=_later(30)))
        if "short of breath" in line
    ]


def test_allergies_stand_as_recorded_coded_or_in_words(make_content, make_record):
    record = make_record(
        allergies=[
            {"to": "penicillin", "reaction": "severe"},
            {"to": "medicine", "medicine": "bromfenac-0-09", "reaction": "rash"},
            {"to": "other", "described": "strawberries"},
        ],
        allergy_text="plaster tears the skin",
    )
    assert make_content(record=record).allergies.lines == (
        "Penicillin: blisters, swelling or collapse",
        "Bromfenac 0.09%: a rash",
        "strawberries: we do not know what it did",
        "Written down as: plaster tears the skin",
    )
    assert make_content().allergies is None


def test_a_visit_has_its_hour_and_the_clinic_its_address(make_content, make_plan, clinic):
    from dataclasses import replace

    plan = make_plan(approved=True)
    first, *others = plan.trips
    plan = plan.model_copy(update={"trips": (first.model_copy(update={"hour": "14:30"}), *others)})
    content = make_content(plan=plan, clinic=replace(clinic, address="4 Mill Road"))
    assert content.next_visit.day == "Tuesday 2 June 2026, at 14:30"
    assert content.clinic.address == "Address: 4 Mill Road"
    spoken = make_content(plan=plan, language="hi").next_visit.day
    assert spoken == "मंगलवार, 2 जून 2026, समय 14:30 (दोपहर 2:30 बजे)"


def _containers(content, letter: str) -> list[tuple[str, ...]]:
    """Number, opened, thrown away, where the next is from; of each bottle of a letter."""
    lines = next(b.lines for b in content.bottles if b.bottle.letter == letter)
    return [tuple(map(plain, (c.number, c.opened, c.discard, c.next))) for c in lines]


def test_a_bottle_in_hand_is_not_to_be_fetched(make_content, make_plan):
    plan = make_plan(approved=True)
    second = plan.supply[0].model_copy(
        update={
            "number": 2,
            "opened": _later(20),
            "discard": _later(28),
            "handed_over": _later(7),
            "handed_over_trip": 2,
        }
    )
    plan = plan.model_copy(update={"supply": (*plan.supply, second)})
    two = [("1", "Tue 2 June", "Mon 29 June", ""), ("2", "Sun 21 June", "Mon 29 June", "")]
    first, later = two
    assert _containers(make_content(plan=plan), "S") == [(*first[:3], "Mon 8 June"), later]
    assert _containers(make_content(plan=plan, printed_on=_later(8)), "S") == two
    at_home = second.model_copy(update={"handed_over": _later(0), "handed_over_trip": None})
    plan = plan.model_copy(update={"supply": (*plan.supply[:-1], at_home)})
    assert _containers(make_content(plan=plan), "S") == two


def test_no_bottle_is_thrown_away_before_the_night_drop_of_its_last_day(make_content, all_texts):
    content = make_content()
    assert by_letter(content, rows_of_days(content)[0])["Sl"][-1] == "22:00"
    assert content.bottle_heads[2] == "Throw away after"
    assert not [text for text in all_texts(content) if "evening" in text and "hrow" in text]


def test_a_clear_shield_does_not_forbid_the_pad_that_the_clinic_put_on(make_content, make_plan, make_record):
    plan = make_plan(approved=True, cautions=_asks("clear-shield"))
    lines = _cautions(make_content(plan=plan, record=_operated(make_record(), pad=True)))
    assert [line for line in lines if line.startswith("The pad stays on")]
    assert [line for line in lines if line.endswith("Never put a pad on this eye yourself.")]
    assert not [line for line in lines if "Never cover" in line]


def _held(plan, *roles: str):
    courses = tuple(
        c.model_copy(update={"state": "held", "held_by": ("q",)}) if c.role in roles else c
        for c in plan.courses
    )
    keys = {c.key for c in courses if c.state == "held"}
    rounds = tuple(
        phase.model_copy(update={"doses": doses, "times": tuple(sorted({t for d in doses for t in d.times}))})
        for phase in plan.rounds
        if (doses := tuple(d for d in phase.doses if d.course not in keys))
    )
    supply = tuple(b for b in plan.supply if b.course not in keys)
    return plan.model_copy(update={"courses": courses, "rounds": rounds, "supply": supply})


def test_a_medicine_that_waits_has_no_stairs_with_numbers_and_days(make_content, make_plan):
    content = make_content(plan=_held(make_plan(approved=True), "steroid"))
    (block,) = content.stairs
    assert {stair.key for stair in block.drawing.stairs} == {"left:antibiotic", "left:nsaid"}
    assert "left:steroid" not in block.labels
    assert "Left eye, Prednisolone acetate 1%: do not start it. The surgeon will tell you when." in (
        content.held.lines
    )
    assert make_content(plan=_held(make_plan(approved=True), "steroid", "antibiotic", "nsaid")).stairs == ()


def test_who_may_start_no_drop_yet_is_not_told_to_stop_none(make_content, make_plan, all_texts):
    waiting = make_content(plan=_held(make_plan(approved=True), "steroid", "antibiotic", "nsaid"))
    assert not [text for text in all_texts(waiting) if "Do not stop the drops" in text]
    assert [text for text in all_texts(make_content()) if "Do not stop the drops" in text]


def test_one_bottle_alone_has_no_order_and_no_wait(make_content, make_plan):
    alone = make_content(plan=_held(make_plan(approved=True), "steroid", "nsaid"))
    assert [len(row.marks) for row in rows_of_days(alone)] == [1]
    assert alone.table.rules == ()
    assert not [line for line in alone.how_to.lines if "wait" in line]
    assert alone.how_to.lines[-1] == "Close the bottle."


@pytest.mark.parametrize(
    ("tag", "said"),
    [
        ("fr", "Mar. 2 – lun. 8 juin"),
        ("es", "Mar 2 – lun 8 de junio"),
        ("pt", "Ter. 2 – seg. 8 de junho"),
    ],
)
def test_a_run_of_days_begins_its_line_and_not_a_word_within_it(tag, said, make_content):
    assert plain(rows_of_days(make_content(language=tag))[0].dates) == said


def test_eleven_in_the_morning_is_not_noon(make_content):
    columns = {plain(c.time): c for c in make_content(language="te").table.columns}
    assert columns["11:00"].part == "morning"
    assert columns["11:00"].part_words == "ఉదయం"
    assert plain(columns["17:00"].said) == "5"


def test_a_medicine_that_waits_still_waits_after_the_days_it_was_planned_for(make_content, make_plan):
    plan = _held(make_plan(approved=True), "steroid")
    for days in (1, 8, 29, 100):
        held = make_content(plan=plan, printed_on=_later(days)).held
        assert held is not None
        assert held.lines == (
            "Left eye, Prednisolone acetate 1%: do not start it. The surgeon will tell you when.",
        )


def test_who_only_takes_tablets_is_told_nothing_about_drops(make_content, make_plan, all_texts):
    from followup.clinical.careplan import Course, Step

    tablets = Course(
        key="mouth:steroid-tablet",
        role="steroid tablet",
        medicine="prednisolone-5",
        eye=None,
        steps=(Step(start=OPERATED, days=60, count=1, mg=20, tablets=4),),
        from_before=True,
        goes_on=True,
    )
    plan = make_plan(approved=True)
    plan = plan.model_copy(update={"courses": (*plan.courses, tablets)})
    content = make_content(plan=plan, printed_on=_later(40))
    assert [b.bottle.kind for b in content.bottles] == ["tablet"]
    assert content.stopping is None
    assert (content.bottle_care, content.how_to) == (None, None)
    assert content.table.rules == ()
    said = " ".join(content.teach_back.lines)
    assert "one drop" not in said
    assert "bottle" not in said


@pytest.mark.parametrize("days", [0, 8, 29, 100])
def test_where_the_surgeon_decided_on_no_steroid_drop_nothing_speaks_of_one(
    days, make_content, make_plan, all_texts
):
    plan = make_plan(approved=True)
    out = _held(plan, "steroid").model_copy(
        update={
            "courses": tuple(
                c.model_copy(update={"state": "stopped"}) if c.role == "steroid" else c for c in plan.courses
            ),
            "needs": tuple(
                n.model_copy(update={"key": "left:pressure", "kind": "pressure"}) if n.kind == "wound" else n
                for n in plan.needs
            ),
            "trips": tuple(
                t.model_copy(update={"serves": ("left:pressure",)}) if t.number == 2 else t
                for t in plan.trips
            ),
        }
    )
    content = make_content(plan=out, printed_on=_later(days))
    said = [t for t in all_texts(content) if "steroid" in t.casefold() or "Prednisolone acetate" in t]
    # What stands on every sheet: other doctors' tablets go on, and none is bought in a shop.
    everywhere = ("Go on with your other medicines", "Do not buy steroid drops by yourself")
    assert [text for text in said if not text.startswith(everywhere)] == []
    assert content.held is None
    assert content.steroid_ends == ()
    assert all("steroid" not in key for block in content.stairs for key in block.labels)


def test_what_is_said_of_a_bottle_holds_to_the_end_of_its_day(make_content, make_plan):
    plan = make_plan(approved=True)
    second = plan.supply[0].model_copy(
        update={
            "number": 2,
            "opened": _later(20),
            "discard": _later(25),
            "handed_over": _later(7),
            "handed_over_trip": 2,
        }
    )
    plan = plan.model_copy(update={"supply": (*plan.supply, second)})
    first = ("1", "Tue 2 June", "Mon 29 June")
    second = ("2", "Sun 21 June", "Fri 26 June", "")
    for printed, said in (
        (6, [(*first, "Mon 8 June"), second]),
        (7, [(*first, "Mon 8 June"), second]),
        (8, [(*first, ""), second]),
        (25, [(*first, ""), second]),
        (26, [(*first, "")]),
    ):
        found = _containers(make_content(plan=plan, printed_on=_later(printed)), "S")
        assert found == said, f"printed on day {printed}"
