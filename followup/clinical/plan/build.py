"""From a record to a care plan: the one path, in one sitting.

Everything here is a value in and a value out. ``build_plan`` reads the record's facts, fires the
protocol's rules, joins what they want into courses and needs, holds what is in question, and
computes rounds, supply and trips from what is left.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import followup
from followup.clinical.careplan import (
    Adjustment,
    CarePlan,
    Caution,
    Course,
    Overridden,
    Question,
    Reason,
    ReviewNeed,
)
from followup.clinical.english import day_words
from followup.clinical.facts.allergies_told import allergy_lines, allergy_questions
from followup.clinical.facts.eye_rules import EyeRules, apply_rules
from followup.clinical.plan.as_told import as_told
from followup.clinical.plan.at_surgery import check_given
from followup.clinical.plan.bottles import draft_supply
from followup.clinical.plan.courses import apply_edits, draft_courses, ended_by_edit, last_steroid_day
from followup.clinical.plan.decided import check_promises, read_decisions
from followup.clinical.plan.first_drops import first_drop_day, told
from followup.clinical.plan.from_before import FromBefore, courses_from_before
from followup.clinical.plan.gaps import check_gaps
from followup.clinical.plan.in_words import told_in_words, word_questions
from followup.clinical.plan.keys_told import RISK
from followup.clinical.plan.names import check_names
from followup.clinical.plan.needs import Opened, added_needs, before_leaving, last_days, open_needs
from followup.clinical.plan.no_steroid import WithoutSteroid, decide_steroid
from followup.clinical.plan.rounds import draft_rounds, long_rounds
from followup.clinical.plan.safety import (
    Net,
    check_courses,
    hold,
    most_a_day,
    rule_cautions,
    rule_questions,
)
from followup.clinical.plan.served import look_back
from followup.clinical.plan.tablets import dosed
from followup.clinical.plan.taper import merged_by_mouth
from followup.clinical.plan.trips import draft_visits
from followup.clinical.plan.unused_answers import answers_to_nothing
from followup.clinical.protocol.protocol import Protocol, text_of
from followup.clinical.record import Record
from followup.clinical.record.eye import followed_eyes
from followup.errors import FollowupError
from followup.said import say
from followup.timing.calendar import Calendar
from followup.timing.waking import WakingHours


@dataclass(frozen=True)
class _Setting:
    """What every step of the path needs to know."""

    record: Record
    protocol: Protocol
    as_of: date
    calendar: Calendar
    eyes: tuple[EyeRules, ...]
    waking: WakingHours

    @property
    def start(self) -> date:
        """The first drop day after the latest operation, or the as-of day where that is later."""
        newest = max(self.eyes, key=lambda eye: eye.day0)
        return max(newest.first_drop_day, self.as_of) if self.as_of > newest.day0 else newest.first_drop_day

    def first_round_day(self, courses: Sequence[Course]) -> date:
        """The first date of the day plan: a tablet from the day of surgery on comes before the drops."""
        newest = max(eye.day0 for eye in self.eyes)
        if self.as_of > newest:
            return self.start
        days = [c.first_day for c in courses if c.first_day and not c.from_before and c.state == "active"]
        return min([self.start, *(day for day in days if day >= newest)])


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
) -> CarePlan:
    """The whole plan for ``record`` on ``as_of``.

    ``previous_times`` are the clock times of the sheet in force, ``previous_own`` those of each course.
    ``approved`` says whether the protocol is signed for patients. Raises FollowupError where the
    record names what the protocol does not know, or ``as_of`` lies before every operation.
    """
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
    waking, questions = _waking(record)
    eyes = tuple(apply_rules(context, protocol) for context in contexts)
    eyes, over = _still_followed(eyes, protocol, waking.hours)
    setting = _Setting(record, protocol, as_of, calendar or Calendar(), eyes, waking)
    if any(eye.refused for eye in eyes):
        return _by_hand(setting, approved)
    joined = _joined(setting, edits)
    net, before, steroid, overridden = joined.net, joined.before, joined.steroid, joined.overridden
    given = check_given(eyes, protocol)
    held = steroid.courses
    opened, lost = _needs(setting, held, edits)
    decisions = read_decisions(record, opened)
    past = look_back(record, protocol, decisions.opened, as_of)
    visits = draft_visits(record, protocol, eyes, held, decisions, past, setting.calendar, as_of)
    first_drops = tuple(first_drop_day(eye, protocol, waking) for eye in eyes)
    first = setting.first_round_day(held)
    rounds, moved = draft_rounds(held, protocol, waking, first, previous_times, previous_own or {})
    return CarePlan(
        **_frame(setting, approved),
        status="draft",
        courses=tuple(_one_line(course) for course in held),
        rounds=rounds,
        supply=draft_supply(held, rounds, visits.trips, eyes, record, protocol, waking, as_of, first_drops),
        needs=visits.needs,
        before_leaving=(
            *(c for eye in eyes for c in before_leaving(eye, eye.context.operation.end)),
            *visits.before_leaving,
        ),
        first_drop_days=first_drops,
        gaps=check_gaps(protocol, eyes, held),
        trips=visits.trips,
        questions=(
            *questions,
            *allergy_questions(record, protocol.cautions.names),
            *word_questions(contexts, protocol.cautions.names),
            *rule_questions(eyes, held),
            *steroid.questions,
            *net.questions,
            *given.questions,
            *before.questions,
            *_unknown_looks(past.unknown, protocol),
        ),
        cautions=(*steroid.cautions, *rule_cautions(eyes), *net.cautions, *given.cautions),
        impossible=visits.impossible,
        decided=visits.decided,
        overridden=(*overridden, *lost, *_lost_tiers(eyes)),
        tiers={eye.eye: eye.tier[0] for eye in eyes},
        last_steroid_day=_last_steroid_days(held, eyes),
        notices=(
            *before.notices,
            *over,
            *as_told([eye.context for eye in eyes], protocol),
            *_replaced(record, eyes, as_of),
            *answers_to_nothing(eyes, protocol, held, (*net.cautions, *given.cautions)),
            *moved,
            *long_rounds(rounds, held, protocol),
            *visits.notices,
            *(told(one) for one in first_drops if one.at and as_of <= one.day),
        ),
    )


def courses_in_force(
    record: Record, protocol: Protocol, *, as_of: date, edits: tuple[Adjustment, ...] = ()
) -> tuple[Course, ...]:
    """The courses of the plan for that day alone, without its looks and visits; none of a refused one."""
    waking, _ = _waking(record)
    eyes = tuple(apply_rules(context, protocol) for context in followed_eyes(record, as_of))
    if any(eye.refused for eye in eyes):
        return ()
    eyes, _ = _still_followed(eyes, protocol, waking.hours)
    joined = _joined(_Setting(record, protocol, as_of, Calendar(), eyes, waking), edits)
    return joined.steroid.courses


@dataclass(frozen=True)
class _Joined:
    """The courses of all eyes and from before, held where something is in question."""

    before: FromBefore
    net: Net
    steroid: WithoutSteroid
    overridden: tuple[Overridden, ...]


def _joined(setting: _Setting, edits: tuple[Adjustment, ...]) -> _Joined:
    courses, overridden = _courses(setting, edits)
    until = _horizon(courses, _needs(setting, courses, edits)[0], setting)
    start, record, protocol = _from_before_start(setting), setting.record, setting.protocol
    before = courses_from_before(record, protocol, start, until, setting.waking)
    every = (*courses, *before.courses)
    net = check_courses(record, protocol, every, setting.as_of, ended_by_edit(edits))
    return _Joined(before, net, decide_steroid(_hold(net.courses, setting.eyes), setting.eyes), overridden)


def _frame(setting: _Setting, approved: bool) -> dict[str, object]:
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
    }


def _by_hand(setting: _Setting, approved: bool) -> CarePlan:
    """A patient whom the protocol refuses: no courses, but never lost; the first look stands."""
    opened = [o for eye in setting.eyes for o in open_needs(eye, setting.protocol, None, 0)[0] if eye.refused]
    decisions = read_decisions(setting.record, opened)
    past = look_back(setting.record, setting.protocol, decisions.opened, setting.as_of)
    visits = draft_visits(
        setting.record, setting.protocol, setting.eyes, (), decisions, past, setting.calendar, setting.as_of
    )
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
        tiers={eye.eye: eye.tier[0] for eye in setting.eyes},
        questions=_unknown_looks(past.unknown, setting.protocol),
        notices=visits.notices,
    )


def _still_followed(
    eyes: tuple[EyeRules, ...], protocol: Protocol, hours: int
) -> tuple[tuple[EyeRules, ...], tuple[str, ...]]:
    """Leave out an eye whose courses and windows had all ended before the other eye's operation."""
    newest = max(eye.day0 for eye in eyes)
    kept, told = [], []
    for eye in eyes:
        if eye.day0 < newest and _over_by(eye, protocol, hours) < newest:
            told.append(
                say(
                    "The follow-up of the {eye} eye, operated on {day}, is over.",
                    eye=eye.eye,
                    day=day_words(eye.day0),
                )
            )
        else:
            kept.append(eye)
    return tuple(kept), tuple(told)


def _over_by(eye: EyeRules, protocol: Protocol, hours: int) -> date:
    courses = draft_courses(eye, protocol, hours).courses
    steroid = [c for c in courses if c.role == "steroid"]
    days = sum(step.days for c in steroid for step in c.steps)
    opened, _ = open_needs(eye, protocol, last_steroid_day(steroid), days)
    ends = [c.last_day for c in courses if c.last_day] + [o.need.latest for o in opened]
    return max([eye.day0, *ends])


def _waking(record: Record) -> tuple[WakingHours, tuple[Question, ...]]:
    """The patient's waking day; one that can't be (12 to 18 hours) is asked for, and drafted as usual."""
    told = record.patient.waking
    try:
        return WakingHours.of(told.rise, told.bedtime), ()
    except FollowupError as exc:
        reason = Reason(
            rule="waking-day",
            because=say("The rounds of a day fit into 12 to 18 hours awake."),
            source="common practice, no source",
            mark="C",
        )
        question = Question(
            id="waking-day",
            text=say(
                "When does the patient rise and go to bed? {capital}{rest}.",
                capital=exc.what[:1].upper(),
                rest=exc.what[1:],
            ),
            eye=None,
            fields=("patient.waking.rise", "patient.waking.bedtime"),
            reasons=(reason,),
        )
        return WakingHours.of("06:00", "22:00"), (question,)


def _courses(
    setting: _Setting, edits: tuple[Adjustment, ...]
) -> tuple[tuple[Course, ...], tuple[Overridden, ...]]:
    hours = setting.waking.hours
    drafted = [draft_courses(eye, setting.protocol, hours, edits) for eye in setting.eyes]
    courses = merged_by_mouth([course for eye in drafted for course in eye.courses])
    edited = apply_edits(courses, edits, setting.protocol)
    formulary = setting.protocol.formulary
    lost = tuple(o for eye in drafted for o in eye.overridden)
    return tuple(dosed(course, formulary[course.medicine]) for course in edited), lost


def _from_before_start(setting: _Setting) -> date:
    """New bottles from the first drop day: an old bottle is not used on a freshly operated eye."""
    return max(eye.first_drop_day for eye in setting.eyes)


def _horizon(courses: Sequence[Course], opened: Sequence[Opened], setting: _Setting) -> date:
    """How far the plan speaks of a medicine from before: as long as it follows the patient, and for one
    bottle's life from its day at least, so that stopping the steroid never ends the glaucoma drops."""
    ends = [c.last_day for c in courses if c.last_day]
    alone = timedelta(days=setting.protocol.from_before.days - 1)
    least = max(_from_before_start(setting), setting.as_of) + alone
    return max([*ends, *last_days(opened).values(), least])


def _hold(courses: Sequence[Course], eyes: Sequence[EyeRules]) -> tuple[Course, ...]:
    most = most_a_day(courses)
    held = []
    for course in courses:
        mine = [eye for eye in eyes if course.eye in (None, eye.eye)]
        by = [id_ for eye in mine for id_ in eye.held(course.role, most)]
        held.append(course if course.from_before else hold(course, by))
    return tuple(held)


def _one_line(course: Course) -> Course:
    """A course that is left out has no steps: nobody may read a dose off it. Its looks stand all the same."""
    if course.state != "stopped":
        return course
    nothing = {"steps": (), "taper": None, "goes_on": False, "fixed_times": (), "above_label": None}
    return course.model_copy(update=nothing)


def _needs(
    setting: _Setting, courses: Sequence[Course], edits: tuple[Adjustment, ...]
) -> tuple[tuple[Opened, ...], tuple[Overridden, ...]]:
    opened: list[Opened] = []
    lost: list[Overridden] = []
    for eye in setting.eyes:
        own = [c for c in courses if c.eye == eye.eye and c.role == "steroid" and not c.from_before]
        days = sum(step.days for c in own for step in c.steps)
        more, lost_here = open_needs(eye, setting.protocol, last_steroid_day(own), days)
        opened += more
        lost += lost_here
        opened += added_needs(eye, setting.protocol, edits)
    return tuple(opened), tuple(lost)


def _last_steroid_days(courses: Sequence[Course], eyes: Sequence[EyeRules]) -> dict[str, date]:
    # A steroid drop from before the operation has no end of its own; the looks count from the taper's.
    tapers = [c for c in courses if not c.from_before and c.state != "stopped"]
    days = {eye.eye: last_steroid_day(c for c in tapers if c.eye == eye.eye) for eye in eyes}
    return {eye: day for eye, day in days.items() if day is not None}


def _lost_tiers(eyes: Sequence[EyeRules]) -> tuple[Overridden, ...]:
    lost = []
    for eye in eyes:
        tier, setting_it = eye.tier
        for fired in setting_it:
            if fired.rule.tier is not None and fired.rule.tier != tier:
                winner = setting_it[0].rule.id
                lost.append(
                    Overridden(
                        rule=fired.rule.id,
                        wanted=say("pressure risk {tier}", tier=RISK[fired.rule.tier]),
                        lost_to=winner,
                        reason=fired.reason,
                    )
                )
    return tuple(lost)


def _unknown_looks(needs: Sequence[ReviewNeed], protocol: Protocol) -> tuple[Question, ...]:
    """Looks whose time is over and of which the record says nothing: asked, never guessed."""
    return tuple(
        Question(
            id=f"done-{need.key.replace(':', '-')}",
            text=say(
                "Was this look done between {earliest} and {latest}: {look}? Enter the review, or "
                "the visit that was missed.",
                earliest=day_words(need.earliest),
                latest=day_words(need.latest),
                look=text_of(need.kind, protocol.kinds),
            ),
            eye=need.eye,
            fields=("reviews", "trips"),
            reasons=need.reasons,
        )
        for need in needs
    )


def _replaced(record: Record, eyes: Sequence[EyeRules], as_of: date) -> list[str]:
    told: list[str] = []
    for eye in eyes:
        for operation in record.operations:
            if operation.eye == eye.eye and operation.date < eye.day0 <= as_of:
                told.append(
                    say(
                        "The {eye} eye was operated again on {again}: what was planned after {before} is "
                        "replaced.",
                        eye=eye.eye,
                        again=day_words(eye.day0),
                        before=day_words(operation.date),
                    )
                )
    return told
