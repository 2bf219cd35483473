"""The ladder: what to try next, and who stands before the surgeon at its end."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.clinical.protocol.files import RECALL
from followup.clinical.protocol.load import SAMPLE, load_protocol
from followup.clinical.protocol.reader import read
from followup.clinical.protocol.recall import OUTCOMES
from followup.errors import FollowupError
from followup.language.catalogues import translator
from followup.recall.reach.ladder import declare_lost, for_surgeon
from followup.recall.reach.next_attempt import Tried, next_attempt
from followup.recall.reach.worklist import reason, worklist
from followup.records.desk.attempts import attempts_of, note_attempt, set_standing, standing_of, standings
from followup.records.desk.trip_steps import mark_arrived
from followup.records.store.journal import journal_of

RULES = load_protocol().recall
DAY = date(2027, 3, 4)


def _line(ward, now):
    with ward.store.read() as session:
        (line,) = worklist(session, now, RULES)
    return line


def _try(ward, line, outcome: str, day: int, actor=None, **more) -> None:
    with ward.store.write(actor or ward.reception, ward.at(day)) as unit:
        note_attempt(
            unit,
            patient_id=line.patient.id,
            rung=line.next.rung,
            way=line.next.way,
            outcome=outcome,
            nonce=f"{day}-{line.next.rung}",
            **more,
        )


def _overdue(ward, in_hand, tier: str, code: str = "K-1"):
    need = ward.need("look", 1, 2, tier=tier)
    plan = ward.signed(code, ward.body(code, needs=(need,), trips=(ward.visit(1, 2, need),)))
    in_hand(ward, plan)
    return plan


def test_an_only_seeing_eye_that_cannot_be_reached_stands_before_the_surgeon_the_next_day(ward, in_hand):
    _overdue(ward, in_hand, "A")
    said = []
    for day, outcome in (
        (3, "wrong number"),
        (3, "no answer"),
        (4, "no answer"),
    ):
        line = _line(ward, ward.at(day))
        said.append((line.next.way, line.waits))
        _try(ward, line, outcome, day)
    # The telephone is dead: the second call to it is left out.
    assert said == [("call", False), ("second contact", False), ("community worker", False)]
    line = _line(ward, ward.at(5))
    assert line.next.way == "surgeon"
    assert "Next: tell the surgeon, from Saturday 6 March 2027 on." in reason(line, translator("en", "desk"))
    (item,) = for_surgeon([line], RULES, ward.day(5))
    assert (item.cause, item.line.patient.code, item.may_be_lost) == ("unreachable", "K-1", False)
    _try(ward, line, "surgeon told", 5)
    (item,) = for_surgeon([_line(ward, ward.at(9))], RULES, ward.day(9))
    assert item.cause == "wait for the surgeon"


def test_before_the_last_rung_is_due_nobody_stands_before_the_surgeon(ward, in_hand):
    _overdue(ward, in_hand, "C")
    assert for_surgeon([_line(ward, ward.at(3))], RULES, ward.day(3)) == ()
    for day in (3, 5, 8):
        _try(ward, _line(ward, ward.at(day)), "no answer", day)
    line = _line(ward, ward.at(9))
    assert (line.next.way, line.next.on, line.waits) == ("community worker", ward.day(15), True)
    assert for_surgeon([line], RULES, ward.day(9)) == ()


def test_who_refuses_is_the_surgeons_at_once_and_stays_on_the_list_until_the_surgeon_says_so(ward, in_hand):
    plan = _overdue(ward, in_hand, "C")
    _try(ward, _line(ward, ward.at(3)), "refused", 3)
    (item,) = for_surgeon([_line(ward, ward.at(3))], RULES, ward.day(3))
    assert item.cause == "refused"
    with pytest.raises(FollowupError, match="may not"), ward.store.write(ward.reception, ward.at(3)) as unit:
        set_standing(unit, patient_id=plan.patient_id, standing="refused", reason="said so")
    with ward.store.write(ward.surgeon, ward.at(3)) as unit:
        set_standing(unit, patient_id=plan.patient_id, standing="refused", reason="spoke with him")
    with ward.store.read() as session:
        assert worklist(session, ward.at(4), RULES) == ()


def test_who_promises_to_come_is_called_again_the_day_after(ward, in_hand):
    _overdue(ward, in_hand, "B")
    _try(ward, _line(ward, ward.at(3)), "will come", 3, promised=ward.day(6))
    line = _line(ward, ward.at(6))
    assert (line.next.way, line.next.on, line.next.repeated, line.waits) == ("call", ward.day(7), True, True)
    assert not _line(ward, ward.at(7)).waits


@pytest.mark.parametrize("outcome", ["moved away", "died"])
def test_moved_away_and_died_end_the_following_at_once_and_can_be_taken_back(ward, in_hand, outcome):
    plan = _overdue(ward, in_hand, "A")
    _try(ward, _line(ward, ward.at(3)), outcome, 3, note="the son says so")
    with ward.store.read() as session:
        assert worklist(session, ward.at(3), RULES) == ()
        assert standings(session)[plan.patient_id].standing == outcome
    with ward.store.write(ward.reception, ward.at(4)) as unit:
        set_standing(
            unit, patient_id=plan.patient_id, standing="followed", reason="another patient was meant"
        )
    assert _line(ward, ward.at(4)).kind == "overdue"


def test_lost_to_follow_up_is_said_only_by_rule_and_by_the_surgeon_and_ends_when_the_patient_comes(
    ward, in_hand
):
    plan = _overdue(ward, in_hand, "B")
    line = _line(ward, ward.at(70))
    with pytest.raises(FollowupError, match="yet"), ward.store.write(ward.surgeon, ward.at(70)) as unit:
        declare_lost(unit, line, RULES, reason="never came")
    with ward.store.write(ward.reception, ward.at(70)) as unit:
        note_attempt(
            unit, patient_id=plan.patient_id, rung=4, way="surgeon", outcome="surgeon told", nonce="s"
        )
    line = _line(ward, ward.at(70))
    with pytest.raises(FollowupError, match="may not"), ward.store.write(ward.reception, ward.at(70)) as unit:
        declare_lost(unit, line, RULES, reason="never came")
    with ward.store.write(ward.surgeon, ward.at(70)) as unit:
        declare_lost(unit, line, RULES, reason="never came")
    with ward.store.read() as session:
        assert worklist(session, ward.at(71), RULES) == ()
    with ward.store.write(ward.reception, ward.at(80)) as unit:
        mark_arrived(unit, trip_id=line.trip_id, nonce="n")
    with ward.store.read() as session:
        assert standing_of(session, plan.patient_id).standing == "followed"
        told = [entry.action for entry in journal_of(session, "patient:K-1")]
    assert told.count("standing changed") == 2


def test_a_new_episode_begins_at_the_foot_of_the_ladder(ward, in_hand):
    first, second = ward.need("look", 1, 2, tier="A"), ward.need("week", 10, 12, tier="A")
    trips = (ward.visit(1, 2, first), ward.visit(2, 12, second))
    plan = ward.signed("K-1", ward.body(needs=(first, second), trips=trips))
    in_hand(ward, plan)
    _try(ward, _line(ward, ward.at(3)), "no answer", 3)
    with ward.store.write(ward.reception, ward.at(4)) as unit:
        mark_arrived(unit, trip_id=ward.trips(plan)[0].id, nonce="n")
    line = _line(ward, ward.at(13))
    assert (line.tried, line.next.rung) == ((), 0)


def test_a_form_sent_twice_is_one_attempt(ward, in_hand):
    plan = _overdue(ward, in_hand, "A")
    line = _line(ward, ward.at(3))
    _try(ward, line, "no answer", 3)
    _try(ward, line, "no answer", 3)
    with ward.store.read() as session:
        assert len(attempts_of(session, [plan.patient_id])[plan.patient_id]) == 1


@pytest.mark.parametrize(
    ("way", "outcome", "promised", "code"),
    [
        ("call", "surgeon told", None, "attempt.outcome"),
        ("call", "no answer", date(2027, 3, 9), "attempt.promised"),
        ("call", "will come", date(2027, 3, 1), "attempt.promised"),
    ],
)
def test_an_attempt_that_can_not_be_is_refused(ward, in_hand, way, outcome, promised, code):
    plan = _overdue(ward, in_hand, "A")
    with (
        pytest.raises(FollowupError) as caught,
        ward.store.write(ward.reception, ward.at(3)) as unit,
    ):
        note_attempt(
            unit, patient_id=plan.patient_id, rung=0, way=way, outcome=outcome, nonce="n", promised=promised
        )
    assert caught.value.code == code


@given(st.sampled_from("ABC"), st.data())
def test_whatever_happens_the_ladder_ends_before_a_person_and_never_asks_for_a_day_that_has_passed(
    tier, data
):
    ladder, tried, day = RULES.ladder[tier], [], DAY
    for _ in range(40):
        following = next_attempt(ladder, tried, DAY)
        if following is None:
            break
        assert following.on >= day
        assert following.way == ladder.rungs[following.rung].way
        day = following.on
        choices = [one for one in OUTCOMES[following.way] if one != "will come"]
        tried.append(Tried(day, following.rung, data.draw(st.sampled_from(choices))))
    assert (
        tried[-1].outcome in ("surgeon told", "moved away", "died") or tried[-1].rung == len(ladder.rungs) - 1
    )
    assert day <= DAY + timedelta(days=sum(rung.after for rung in ladder.rungs))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('{ way = "surgeon", after = 1 },\n', ""),
        ('way = "call", after = 0', 'way = "letter", after = 0'),
        ("days = 90", "days = 3"),
        ('quiet_until = "08:00"', 'quiet_until = "22:00"'),
        ("[lost.C]", "[lost.D]"),
    ],
)
def test_a_ladder_that_forgets_someone_is_refused_by_file_and_line(tmp_path, old, new):
    path = tmp_path / "recall.toml"
    text = (SAMPLE / "recall.toml").read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(FollowupError) as caught:
        read(RECALL, path)
    assert caught.value.where.startswith("recall.toml line")
    assert "\n" not in caught.value.line
