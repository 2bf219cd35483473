"""Who is written to, whatever happens in whatever order: said here once more, by a model that is only told
what happened. From the hazard log: messages come from the plan in force whose sheet is in the patient's
hands; nobody who died, moved away, is lost or stopped them is written to; each goes out under one key.
"""

from __future__ import annotations

from contextlib import suppress
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from sqlalchemy import event

from followup.clinical.careplan import Course, Step
from followup.errors import FollowupError
from followup.recall.jobs import daily
from followup.recall.jobs.daily import Workplace, run_due
from followup.recall.messages.channels import NotSentError
from followup.recall.messages.sending import send_due
from followup.records.desk.attempts import note_attempt, set_standing
from followup.records.desk.trip_steps import book_trip, mark_arrived, mark_noshow, move_trip
from followup.records.people.messages import choose_messages, stop_messages
from followup.records.plans.plans import end_plan
from followup.records.views import Actor

OWN, DAUGHTER = "+44 20 7946 0101", "+44 20 7946 0102"
# The clinic's own hours, five and a half before those of UTC.
EARLY, MORNING, AFTERNOON, NIGHT = 6.5, 10.0, 16.0, 22.0
PEOPLE = {"K-1": "en", "K-2": "fr", "K-3": "sw"}
EVERYBODY = Actor("sen", frozenset({"surgeon", "reception", "counsellor"}), "Dr Sen")
HELPED = {"en": "the person you help", "fr": "la personne que vous aidez", "sw": "mtu unayemsaidia"}
# What the plan of everybody here says: visits with the last day of their window; days on which drops change.
VISITS, CHANGES = {1: (1, 1), 2: (7, 9), 3: (42, 56)}, (7, 14)
MISSED_FOR = 14


@dataclass
class Patient:
    """What has happened to one of them, by day of the operation."""

    visits: dict[int, int]
    ids: dict[int, int]
    plan: int
    number: int
    consent: bool = False
    carer: bool = False
    address: str = ""
    followed: bool = True
    over: bool = False
    status: dict[int, str] = field(default_factory=lambda: dict.fromkeys(VISITS, "open"))
    seen: list[tuple[int, int]] = field(default_factory=list)
    tried: list[int] = field(default_factory=list)
    told: set[tuple[str, int]] = field(default_factory=set)
    left: set[tuple[str, int]] = field(default_factory=set)

    def wants(self, day: int) -> set[tuple[str, int]]:
        """The messages that are due to this patient on ``day`` if nothing stands against them."""
        if not (self.consent and self.followed) or self.over:
            return set()
        found = {("reminder", day + 1) for n in VISITS if self._ahead(n) and self.visits[n] == day + 1}
        found |= {("step change", day + 1) for change in CHANGES if change == day + 1}
        return found | {("missed", since) for since in self._missed() if since <= day <= since + MISSED_FOR}

    def _ahead(self, number: int) -> bool:
        return self.status[number] == "open"

    def _missed(self) -> list[int]:
        """The day from which on the longest missed visit is written about; none once somebody has tried."""
        since = sorted(
            VISITS[n][1] + 1
            for n, status in self.status.items()
            if status in ("open", "noshow")
            and not any(other != n and day >= self.visits[n] for other, day in self.seen)
        )
        return [] if since and any(day >= since[0] for day in self.tried) else since[:1]


class Sender:
    """Notes whom it writes to; fails as told."""

    def __init__(self) -> None:
        self.fails, self.sent = False, []

    def send(self, message) -> None:
        if self.fails:
            raise NotSentError("busy")
        self.sent.append(message)


def _agree(unit, ward, who, day, **more):
    given = {"channel": "gateway", "address": OWN, **more}
    choose_messages(unit, patient_id=who.number, consent=True, **given)
    who.consent, who.carer, who.address = True, given.get("reader") == "carer", given["address"]


def _decline(unit, ward, who, day):
    choose_messages(unit, patient_id=who.number, consent=False, channel="gateway", address=OWN)
    who.consent = False


def _stop(unit, ward, who, day):
    stop_messages(unit, patient_id=who.number)
    who.consent = False


def _stands(word):
    def say(unit, ward, who, day):
        set_standing(unit, patient_id=who.number, standing=word, reason="said so")
        who.followed = word == "followed"

    return say


def _calls(outcome):
    def call(unit, ward, who, day):
        nonce = f"{who.number}-{day}-{outcome}"
        note_attempt(unit, patient_id=who.number, rung=0, way="call", outcome=outcome, nonce=nonce)
        who.tried.append(day)
        who.followed = who.followed and outcome == "no answer"

    return call


def _moves(to):
    def move(unit, ward, who, day):
        move_trip(unit, trip_id=who.ids[2], day=ward.day(to))
        who.visits[2] = to

    return move


def _books(unit, ward, who, day):
    book_trip(unit, trip_id=who.ids[2])


def _comes(number):
    def come(unit, ward, who, day):
        mark_arrived(unit, trip_id=who.ids[number], nonce=f"{who.number}-{number}")
        who.status[number], who.followed = "here", True
        who.seen.append((number, day))

    return come


def _stays_away(unit, ward, who, day):
    number = 1 if day < 7 else 2
    mark_noshow(unit, trip_id=who.ids[number])
    who.status[number] = "noshow"


def _ends(unit, ward, who, day):
    end_plan(unit, plan_id=who.plan, completed=False, reason="goes elsewhere")
    who.over = True


# What is said about messages and about the person may be said at any time of the day.
SAID = {
    "agrees": _agree,
    "the daughter is written to": lambda *a: _agree(*a, reader="carer", address=DAUGHTER),
    "another number": lambda *a: _agree(*a, address=DAUGHTER),
    "does not agree": _decline,
    "stops them": _stop,
    "died": _stands("died"),
    "moved away": _stands("moved away"),
    "lost": _stands("lost to follow-up"),
    "does not want to come": _stands("refused"),
    "it was somebody else": _stands("followed"),
}
DONE = {
    "booked": _books,
    "moved on": _moves(8),
    "moved back": _moves(6),
    "as it was": _moves(7),
    "comes to the first visit": _comes(1),
    "comes to the second": _comes(2),
    "does not come": _stays_away,
    "called in vain": _calls("no answer"),
    "called, has died": _calls("died"),
    "the plan ends": _ends,
}


STEPS = (Step(start=date(2027, 3, 2), days=6, count=6), Step(start=date(2027, 3, 8), days=7, count=4))


def _three(ward, in_hand) -> tuple[bytes, dict[str, Patient]]:
    """The file of a clinic with three people whose sheets are in their hands, and what the model knows."""
    people = {}
    for code, language in PEOPLE.items():
        courses = tuple(
            Course(key=f"{eye}:steroid", role="steroid", medicine="prednisolone-1", eye=eye, steps=STEPS)
            for eye in ("right", "left")
        )
        number = ward.enter(ward.record(code, language=language))
        plan = ward.sign(ward.draft(number, ward.body(code, courses=courses)).id)
        in_hand(ward, plan)
        ids = {trip.number: trip.id for trip in ward.trips(plan)}
        people[code] = Patient({n: day for n, (day, _) in VISITS.items()}, ids, plan.id, number)
    ward.store.close()
    # A thousand commits: what a power cut would lose does not matter here.
    event.listen(ward.store.engine, "connect", lambda file, _: file.execute("PRAGMA synchronous=OFF"))
    return Path(ward.store.engine.url.database).read_bytes(), people


HAPPENINGS = st.tuples(
    st.integers(0, 2), st.sampled_from([EARLY, MORNING, AFTERNOON, NIGHT]), st.sampled_from([*PEOPLE]),
    st.one_of(st.sampled_from([*SAID]), st.sampled_from([*DONE])),
)  # fmt: skip


def _day(after, at, **told):
    """What is said of each of them at that time."""
    return [(after, at, code.replace("_", "-"), what) for code, what in told.items()]


# The day before the second visit, which is also the day before a change of the drops, and the two after it:
# what happens, and the sweeps in which nothing goes out because the gateway is busy.
ON_THE_EVE = [
    (
        set(),
        [
            *_day(0, EARLY, K_1="agrees", K_2="agrees", K_3="the daughter is written to"),
            *_day(0, AFTERNOON, K_1="stops them", K_2="does not agree", K_3="died"),
            *_day(0, NIGHT, K_1="agrees", K_2="the daughter is written to", K_3="it was somebody else"),
            *_day(1, EARLY, K_1="comes to the second", K_2="does not come", K_3="called in vain"),
        ],
    ),
    # Said after the day's messages were written: told today all the same.
    (
        set(),
        [
            *_day(0, EARLY, K_1="agrees", K_2="agrees"),
            *_day(0, EARLY, K_1="stops them", K_2="died"),
            *_day(0, AFTERNOON, K_1="agrees", K_2="it was somebody else", K_3="the daughter is written to"),
            *_day(1, MORNING, K_1="lost", K_2="does not want to come", K_3="moved away"),
        ],
    ),
    # Written and not gone out yet: what was said since holds.
    (
        {0},
        [
            *_day(0, EARLY, K_1="agrees", K_2="the daughter is written to", K_3="agrees"),
            *_day(0, AFTERNOON, K_1="stops them", K_2="agrees", K_3="died"),
            *_day(0, AFTERNOON, K_1="agrees"),
            *_day(0, NIGHT, K_3="it was somebody else"),
        ],
    ),
    (
        {0, 1},
        [
            *_day(0, EARLY, K_1="agrees", K_2="agrees", K_3="agrees"),
            *_day(0, NIGHT, K_1="does not agree", K_2="stops them", K_3="lost"),
        ],
    ),
    (
        set(),
        [
            *_day(0, EARLY, K_1="agrees", K_2="agrees", K_3="agrees"),
            *_day(0, EARLY, K_1="moved on", K_2="booked", K_3="the plan ends"),
            *_day(1, EARLY, K_1="as it was", K_2="called, has died", K_3="it was somebody else"),
            *_day(1, NIGHT, K_1="stops them", K_2="it was somebody else"),
        ],
    ),
    (
        set(),
        [
            *_day(0, EARLY, K_1="agrees", K_2="agrees", K_3="agrees"),
            *_day(0, EARLY, K_1="moved back", K_2="moved away", K_3="booked"),
            *_day(1, EARLY, K_2="it was somebody else"),
            *_day(1, EARLY, K_1="does not come", K_2="does not come", K_3="moved on"),
        ],
    ),
]
# The day after the last one of the first visit, and the two after it.
MISSED = [
    [
        *_day(0, EARLY, K_1="agrees", K_2="agrees", K_3="called in vain"),
        *_day(0, MORNING, K_3="agrees"),
        *_day(1, EARLY, K_1="comes to the first visit", K_2="does not come"),
        *_day(2, EARLY, K_2="called in vain"),
    ],
    [
        *_day(0, EARLY, K_1="comes to the first visit", K_2="does not come", K_3="does not come"),
        *_day(0, MORNING, K_1="agrees", K_2="the daughter is written to", K_3="agrees"),
    ],
]


def _told(ward, people, day, when, happenings, first):
    """Let it happen, half an hour before the sweep. What can not be at that moment changes nothing."""
    for after, at, code, what in happenings:
        if (first + after, at) != (day, when):
            continue
        do = SAID.get(what) or (DONE[what] if at == EARLY else None)
        if do is not None:
            with suppress(FollowupError), ward.store.write(EVERYBODY, ward.at(day, when - 6)) as unit:
                do(unit, ward, people[code], day)


def test_whatever_happens_whoever_agreed_is_written_to_once_and_nobody_else(
    sqlite_ward, in_hand, protocol, tmp_path, monkeypatch
):
    monkeypatch.setattr(daily, "JOBS", tuple(job for job in daily.JOBS if job.tells))
    file, known = _three(sqlite_ward, in_hand)

    @settings(max_examples=3, suppress_health_check=list(HealthCheck))
    @given(
        st.sampled_from([0, 2, 6, 10, 16]),
        st.lists(HAPPENINGS, min_size=6, max_size=20),
        st.sets(st.integers(0, 8), max_size=3),
    )
    def days(first, happenings, busy):
        _three_days(sqlite_ward, file, known, protocol, tmp_path, first, happenings, busy)

    for fails, told in ON_THE_EVE:
        days = example(6, told, fails)(days)
    for told in MISSED:
        days = example(2, told, set())(days)
    # Seen at the second visit on the first day, the first visit is missed no more: it is planned again.
    days = example(7, [*_day(0, EARLY, K_1="agrees"), *_day(0, EARLY, K_1="comes to the second")], set())(
        days
    )
    days()


def _three_days(ward, file, known, protocol, tmp_path, first, happenings, busy):
    # The same file as at the beginning; the engine stays, with the statements that it has made ready.
    Path(ward.store.engine.url.database).write_bytes(file)
    people, sender, keys = deepcopy(known), Sender(), set()
    place = Workplace(ward.store, protocol, tmp_path / "place")
    try:
        for number in range(9):
            day, when = first + number // 3, (MORNING, AFTERNOON, NIGHT)[number % 3]
            if when == MORNING:
                _told(ward, people, day, EARLY, happenings, first)
            _told(ward, people, day, when, happenings, first)
            now = ward.at(day, when - 5.5)
            sender.fails, sender.sent = number in busy, []
            assert run_due(place, now) == ()
            # What was changed since it was queued is written anew, and goes out with the next pass.
            for minutes in (0, 1):
                later = now + timedelta(minutes=minutes)
                send_due(ward.store, {"gateway": sender}, protocol, owner="a", clock=lambda at=later: at)
            _judge(ward, people, day, when, sender, keys)
    finally:
        ward.store.close()


def _judge(ward, people, day, when, sender, keys):
    open_hours = when in (MORNING, AFTERNOON)
    for message in sender.sent:
        who = people[message.patient_code]
        about = (message.kind, (message.last_useful - ward.day0).days)
        if message.kind == "missed":
            about = ("missed", about[1] - MISSED_FOR)
        told = f"day {day} at {when}: {message.patient_code} {about} to {message.address}"
        assert open_hours, f"{told}: in the quiet hours"
        assert message.key not in keys, f"{told}: twice"
        assert about not in who.told, f"{told}: once more under another key"
        # What was due the day before and waited for the end of the night still tells of today.
        assert about in who.wants(day) | who.wants(day - 1), f"{told}: nobody asked for it"
        assert message.address == who.address, f"{told}: it is {who.address} now"
        language = PEOPLE[message.patient_code]
        assert (message.language, HELPED[language] in message.text) == (language, who.carer), told
        assert not {"Wanjiru", "Ndegwa"} & set(message.text.split()), f"{told}: it holds a name"
        keys.add(message.key)
        who.told.add(about)
    for code, who in people.items():
        due = who.wants(day)
        if when == MORNING:
            # What could not go out yesterday and still tells of today.
            due |= {one for one in who.left & who.wants(day - 1) if one[0] != "missed"}
        if when == NIGHT:
            who.left = due - who.told
        elif not sender.fails:
            assert due <= who.told, f"day {day} at {when}: {code} heard nothing of {due - who.told}"
