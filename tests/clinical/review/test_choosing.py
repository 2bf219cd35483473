"""Opposite proposals stand side by side; what is chosen together gives the higher count, never the sum."""

from __future__ import annotations

import pytest

from followup.clinical.adjustments import CourseAdded, CourseEdit
from followup.clinical.review.choosing import accept, ordered
from followup.errors import FollowupError
from followup.typed import typed

UVEITIC = {"uveitis": {"kind": "anterior", "last_active": "2025-06-01"}}


def test_opposite_proposals_name_each_other_and_can_not_be_signed_together(look):
    seen = look(14, pressure=27, macula="oedema")
    raised, lowered = seen.proposal("macular-oedema"), seen.proposal("pressure-weaker")
    assert set(raised.opposes) == {"pressure-weaker", "go-on"}
    assert set(lowered.opposes) == {"macular-oedema", "go-on"}
    with pytest.raises(FollowupError, match="exclude each other"):
        accept([raised, lowered], by="Dr Sen", reason="both")
    for one in (raised, lowered):
        assert accept([one], by="Dr Sen", reason="this one")


def test_one_that_ends_a_course_and_one_that_lengthens_it_are_opposed(look):
    seen = look(9, epithelial_defect="yes")
    ends = seen.proposal("corneal-defect")
    longer = CourseEdit(
        course="right:nsaid", starts=ends.on, steps=((2, 42),), reason="fluid", by="(not signed)"
    )
    ends, gives = ordered([ends, ends.model_copy(update={"id": "longer", "adjustments": (longer,)})])
    assert ends.opposes == (gives.id,)
    assert gives.opposes == (ends.id,)
    with pytest.raises(FollowupError, match="exclude each other"):
        accept([ends, gives], by="Dr Sen", reason="both")


def test_an_open_cornea_gets_no_nsaid_and_no_more_steroid_for_its_macula_either(look):
    seen = look(9, epithelial_defect="yes", macula="oedema")
    assert "macular-oedema" not in seen.ids()
    only = seen.proposal("macular-oedema-neither")
    assert all(change.kind == "look" for change in only.adjustments)
    assert "a senior decides" in only.title


def test_alternatives_can_not_be_signed_together(look, someone):
    seen = look(28, someone(eye=UVEITIC), before={21: {"cells": "0"}})
    with pytest.raises(FollowupError, match="exclude each other") as told:
        accept(seen.outcome.proposals, by="Dr Sen", reason="both")
    assert told.value.code == "review.opposite"


def test_two_ways_to_lower_the_steroid_are_opposed(look, someone):
    eye = UVEITIC | {"steroid_responder": True, "glaucoma": True}
    seen = look(24, someone(eye=eye), pressure=31, before={14: {}})
    lowering = [p for p in seen.outcome.proposals if p.direction == "lower"]
    assert {p.about for p in lowering} == {"inflammation", "pressure"}
    for proposal in lowering:
        others = {p.id for p in lowering if p is not proposal}
        assert others <= set(proposal.opposes) | set(proposal.alternative_to)


def test_two_proposals_that_want_more_give_the_higher_count_of_every_day(look):
    seen = look(21, cells="2+", macula="oedema")
    both = accept(seen.outcome.proposals, by="Dr Sen", reason="both")
    (steroid,) = [a for a in both if isinstance(a, CourseEdit) and a.course == "right:steroid"]
    # 8x7 6x7 5x7 4x7 3x7 2x7 1x7 joined with 4x28 3x7 2x7 1x7, day by day.
    assert steroid.steps == ((8, 7), (6, 7), (5, 7), (4, 7), (3, 7), (2, 7), (1, 7))
    assert accept(seen.outcome.proposals[::-1], by="Dr Sen", reason="both")[0].steps == steroid.steps


def test_one_medicine_added_twice_is_added_once(look):
    seen = look(30, loose_stitch="yes", stitches_out=True)
    added = [
        a
        for a in accept(
            [seen.proposal("loose-stitch"), seen.proposal("stitch-out")], by="Dr Sen", reason="both"
        )
        if isinstance(a, CourseAdded | CourseEdit)
    ]
    assert len(added) == 1


def test_who_signed_and_why_stand_in_every_adjustment(look):
    seen = look(7, cells="2+")
    for adjustment in accept([seen.proposal("raise")], by="Dr Sen", reason="Seen twice."):
        assert adjustment.by == "Dr Sen"
        assert adjustment.reason.endswith(typed("Seen twice."))


def test_a_medicine_that_was_not_offered_can_not_be_chosen(look, someone):
    seen = look(10, someone(eye={"glaucoma": True}, conditions={"asthma": True}), pressure=27)
    with pytest.raises(FollowupError, match="was not offered"):
        accept(seen.outcome.proposals, by="Dr Sen", reason="", offer=("timolol-0-5", 28))


def test_a_rise_in_an_eye_on_the_weaker_steroid_goes_back_to_the_potent_one(look, someone):
    responder = someone(eye={"steroid_responder": True})
    responder["operations"][0]["choices"] = {"responder_course": "A"}
    seen = look(14, responder, cells="2+", before={7: {"cells": "0.5+"}})
    plan = seen.after("raise")
    steroid = plan.course("right:steroid")
    assert steroid.steps[-1].count >= 4, "the potent one for the high counts"
    assert plan.course("right:steroid-weaker").last_day == plan.last_steroid_day["right"]
    totals = [
        sum(
            c.count_on(seen.outcome.date.fromordinal(seen.outcome.date.toordinal() + i))
            for c in plan.courses
            if c.role == "steroid"
        )
        for i in range(1, 50)
    ]
    assert totals == [8] * 7 + [6] * 7 + [5] * 7 + [4] * 7 + [3] * 7 + [2] * 7 + [1] * 7


def test_holding_an_eye_on_the_weaker_steroid_keeps_it_on_the_weaker_one(look, someone):
    responder = someone(eye={"steroid_responder": True})
    responder["operations"][0]["choices"] = {"responder_course": "A"}
    seen = look(14, responder, cells="1+", before={7: {"cells": "1+"}})
    plan = seen.after("hold")
    assert plan.course("right:steroid").last_day == seen.after().course("right:steroid").last_day
    weaker = plan.course("right:steroid-weaker")
    assert weaker.count_on(seen.outcome.date) == 3
    assert weaker.last_day > seen.after().course("right:steroid-weaker").last_day


def test_a_steroid_from_before_is_never_changed_by_a_proposal(look, someone):
    using = [{"medicine": "loteprednol-0-5", "eye": "right", "count_a_day": 2}]
    seen = look(7, someone(eye=UVEITIC, in_use=using), cells="2+")
    changed = {a.course for p in seen.outcome.proposals for a in p.adjustments if isinstance(a, CourseEdit)}
    assert changed == {"right:steroid"}
    assert seen.outcome.present_count == 10
