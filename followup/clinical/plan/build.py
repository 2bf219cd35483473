"""From a record to a care plan: the one path, in one sitting.

Everything here is a value in and a value out. ``build_plan`` reads the record's facts, fires the
protocol's rules, joins what they want into courses and needs, holds what is in question, and
computes rounds, supply and trips from what is left.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date

import followup
from followup.clinical.adjustments import Adjustment
from followup.clinical.careplan import CarePlan, Caution, Course, Question
from followup.clinical.facts.allergies_told import allergy_lines, allergy_questions
from followup.clinical.facts.eye_rules import EyeRules, apply_rules
from followup.clinical.plan.all_courses import (
    JoinedCourses,
    as_given,
    join_courses,
    last_steroid_days,
    needs_of,
)
from followup.clinical.plan.as_told import as_told
from followup.clinical.plan.at_surgery import check_given
from followup.clinical.plan.bottles import draft_supply
from followup.clinical.plan.decided import check_promises, read_decisions
from followup.clinical.plan.first_drops import first_drop_day, told
from followup.clinical.plan.gaps import check_gaps
from followup.clinical.plan.in_words import told_in_words, word_questions
from followup.clinical.plan.names import check_names
from followup.clinical.plan.needs import Opened, before_leaving, open_needs
from followup.clinical.plan.notices import lost_tiers, replaced, unknown_looks
from followup.clinical.plan.rounds import draft_rounds, long_rounds
from followup.clinical.plan.safety import Net, rule_cautions, rule_questions
from followup.clinical.plan.served import look_back
from followup.clinical.plan.setting import Setting, setting_of
from followup.clinical.plan.trips import Visits, draft_visits
from followup.clinical.plan.unused_answers import answers_to_nothing
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Record
from followup.clinical.record.eye import EyeContext, followed_eyes
from followup.errors import FollowupError
from followup.said import say
from followup.timing.calendar import Calendar


def build_plan(
    record: Record,
    protocol: Protocol,
    *,
    as_of: date,
    calendar: Calendar | None = None,
    edits: tuple[Adjustment, ...] = (),
    previous_times: frozenset[str] | None = None,
    previous_own: Mapping[str, frozenset[str]] | None = None,
    approved: bool = False,
    ruled: tuple[EyeRules, ...] | None = None,
) -> CarePlan:
    """The whole plan for ``record`` on ``as_of``.

    ``previous_times`` are the clock times of the sheet in force, ``previous_own`` those of each course.
    ``approved`` says whether the protocol is signed for patients. ``ruled`` are the eyes under follow-up
    on that day, where the rules have been applied to them already. Raises FollowupError where the
    record names what the protocol does not know, or ``as_of`` lies before every operation.
    """
    contexts = _operated(record, protocol, as_of)
    eyes = _ruled(contexts, protocol) if ruled is None else ruled
    setting = setting_of(record, protocol, as_of, eyes, calendar)
    eyes, waking = setting.eyes, setting.waking
    if any(eye.refused for eye in eyes):
        return _by_hand(setting, approved)
    joined = join_courses(setting, edits)
    courses = joined.steroid.courses
    given = check_given(eyes, protocol)
    opened, lost = needs_of(setting, courses, edits)
    visits, unknown = _visits(setting, courses, opened)
    first_drops = tuple(first_drop_day(eye, protocol, waking) for eye in eyes)
    first = setting.first_round_day(courses)
    rounds, moved = draft_rounds(courses, protocol, waking, first, previous_times, previous_own or {})
    leaving = (check for eye in eyes for check in before_leaving(eye, eye.context.operation.end))
    return CarePlan(
        **_frame(setting, approved),
        status="draft",
        courses=tuple(as_given(course) for course in courses),
        rounds=rounds,
        supply=draft_supply(
            courses, rounds, visits.trips, eyes, record, protocol, waking, as_of, first_drops
        ),
        needs=visits.needs,
        before_leaving=(*leaving, *visits.before_leaving),
        first_drop_days=first_drops,
        gaps=check_gaps(protocol, eyes, courses),
        trips=visits.trips,
        questions=(*_questions(setting, contexts, joined, given), *unknown),
        cautions=(*joined.steroid.cautions, *rule_cautions(eyes), *joined.net.cautions, *given.cautions),
        impossible=visits.impossible,
        decided=visits.decided,
        overridden=(*joined.overridden, *lost, *lost_tiers(eyes)),
        last_steroid_day=last_steroid_days(courses, eyes),
        notices=(
            *_notices(setting, joined, given),
            *moved,
            *long_rounds(rounds, courses, protocol),
            *visits.notices,
            *(told(one) for one in first_drops if one.at and as_of <= one.day),
        ),
    )


def courses_in_force(
    record: Record, protocol: Protocol, *, as_of: date, edits: tuple[Adjustment, ...] = ()
) -> tuple[Course, ...]:
    """The courses of the plan for that day alone, without its looks and visits; none of a refused one."""
    eyes = _ruled(followed_eyes(record, as_of), protocol)
    if any(eye.refused for eye in eyes):
        return ()
    return join_courses(setting_of(record, protocol, as_of, eyes), edits).steroid.courses


def _operated(record: Record, protocol: Protocol, as_of: date) -> tuple[EyeContext, ...]:
    """The operated eyes of a record that the protocol can plan for."""
    contexts = followed_eyes(record, as_of)
    if not contexts:
        raise FollowupError(
            "plan.as_of",
            say("no operation on or before {day}", day=as_of),
            where=say("as-of day"),
            fix=say("give a day on or after the first operation"),
        )
    check_names(record, protocol)
    check_promises(record, protocol, as_of)
    return contexts


def _ruled(contexts: Iterable[EyeContext], protocol: Protocol) -> tuple[EyeRules, ...]:
    return tuple(apply_rules(context, protocol) for context in contexts)


def _visits(
    setting: Setting, courses: Sequence[Course], opened: Sequence[Opened]
) -> tuple[Visits, tuple[Question, ...]]:
    """The visits for these looks, and what must be asked of looks whose time is over."""
    record, protocol, as_of = setting.record, setting.protocol, setting.as_of
    decisions = read_decisions(record, opened)
    past = look_back(record, protocol, decisions.opened, as_of)
    visits = draft_visits(record, protocol, setting.eyes, courses, decisions, past, setting.calendar, as_of)
    return visits, unknown_looks(past.unknown, protocol)


def _questions(
    setting: Setting, contexts: Sequence[EyeContext], joined: JoinedCourses, given: Net
) -> Iterator[Question]:
    record, names = setting.record, setting.protocol.cautions.names
    yield from setting.questions
    yield from allergy_questions(record, names)
    yield from word_questions(contexts, names)
    yield from rule_questions(setting.eyes, joined.steroid.courses)
    yield from joined.steroid.questions
    yield from joined.net.questions
    yield from given.questions
    yield from joined.before.questions


def _notices(setting: Setting, joined: JoinedCourses, given: Net) -> Iterator[str]:
    eyes, protocol = setting.eyes, setting.protocol
    against = (*joined.net.cautions, *given.cautions)
    yield from joined.before.notices
    yield from setting.notices
    yield from as_told([eye.context for eye in eyes], protocol)
    yield from replaced(setting.record, eyes, setting.as_of)
    yield from answers_to_nothing(eyes, protocol, joined.steroid.courses, against)


def _frame(setting: Setting, approved: bool) -> dict[str, object]:
    """What a plan says of itself, whether it gives courses or not."""
    protocol = setting.protocol
    return {
        "patient": setting.record.patient.code,
        "as_of": setting.as_of,
        "protocol": protocol.label,
        "protocol_hash": protocol.hash,
        "approved": approved,
        "engine": f"followup {followup.__version__}",
        "allergies": allergy_lines(setting.record),
        "in_words": told_in_words(setting.record),
        "tiers": {eye.eye: eye.tier[0] for eye in setting.eyes},
    }


def _by_hand(setting: Setting, approved: bool) -> CarePlan:
    """A patient whom the protocol refuses: no courses, but never lost; the first look stands."""
    opened = [o for eye in setting.eyes for o in open_needs(eye, setting.protocol, None, 0)[0] if eye.refused]
    visits, unknown = _visits(setting, (), opened)
    refused = {
        f.rule.id: Caution(id=f.rule.id, text=f.rule.refuse.text, eye=None, level="stop", reasons=(f.reason,))
        for eye in setting.eyes
        for f in eye.refused
        if f.rule.refuse
    }
    return CarePlan(
        **_frame(setting, approved),
        status="on-hold",
        refused=tuple(refused.values()),
        needs=visits.needs,
        trips=visits.trips,
        impossible=visits.impossible,
        decided=visits.decided,
        questions=unknown,
        notices=visits.notices,
    )
