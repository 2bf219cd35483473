"""The desks' own day: what a page takes for today, just before, at and after the clinic's midnight."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace

import pytest
from clinic_days import IDS, TURNS, Turn, local

from followup.care.house.shelf import shelf
from followup.care.looks.before_leaving import Checked, checks_to_do, note_check
from followup.care.looks.eye_case import EyeCase
from followup.care.plans.plan_view import PlanView, steps_left, untreated
from followup.care.plans.planning import own_times_on, times_on, with_visits
from followup.care.sheets.content import bottles_with, clinic_info, content_of
from followup.care.trips.went import as_it_went
from followup.clinical.careplan import BeforeLeaving, CarePlan, Course, Step
from followup.clinical.day_plan import Bottle, DayPhase
from followup.clinical.plan.course_table import course_table
from followup.clinical.record import Record
from followup.desks.door.hand import Desk, DeskHand, desk_hand
from followup.desks.words.texts import Texts
from followup.recall.codes.keyring import Keyring
from followup.records.desk.leaving_checks import checks_noted
from followup.records.house.staff import add_staff
from followup.records.people.patients import newest_record
from followup.records.plans.desk_notes import count_stock
from followup.records.plans.sheets import issue_sheet
from followup.records.views import SYSTEM, Actor, Clinic, LoginSession, TripView
from followup.sheets.content import build_content

EACH_TURN = pytest.mark.parametrize("turn", TURNS, ids=IDS)
EVERYBODY = Actor("all", frozenset({"counsellor", "reception", "surgeon", "pharmacy"}), "Dr All", "R-1")
DAY0 = date(2027, 3, 1)
PHARMACY_DAYS = ("2028-01-01", "2027-04-01", "2027-04-30", "2027-11-07", "2028-03-01")
KEYS = Keyring.fresh()


def _visit(zone: str, now: datetime, store=None, protocol=None) -> DeskHand:
    """Somebody at a desk of a clinic in ``zone``, at ``now``."""
    clinic = Clinic("Riverbend Eye Clinic", "RBE", "+44 20 7946 0100", "+44 20 7946 0199", zone)
    desk = Desk(store, protocol, KEYS, lambda: now, SimpleNamespace())
    staff = SimpleNamespace(actor=EVERYBODY, roles=EVERYBODY.roles)
    return desk_hand(desk, clinic, now, LoginSession("x", staff, now, now, now, None), None)


@EACH_TURN
def test_today_is_the_clinics_own_day(turn: Turn):
    for said, now, begun in turn.around:
        assert _visit(turn.zone, now).today == (turn.day if begun else turn.eve), said


MOMENTS = [
    ("Asia/Kolkata", "2027-03-09 18:29", "Tuesday 9 March 2027, 23:59"),
    ("Asia/Kolkata", "2027-03-09 18:30", "Wednesday 10 March 2027, 00:00"),
    ("Pacific/Kiritimati", "2027-12-31 10:30", "Saturday 1 January 2028, 00:30"),
    ("America/Lima", "2028-01-01 04:30", "Friday 31 December 2027, 23:30"),
    ("Pacific/Pago_Pago", "2027-04-01 10:30", "Wednesday 31 March 2027, 23:30"),
    # The missing hour and the double hour of New York.
    ("America/New_York", "2027-03-14 06:59", "Sunday 14 March 2027, 01:59"),
    ("America/New_York", "2027-03-14 07:00", "Sunday 14 March 2027, 03:00"),
    ("America/New_York", "2027-11-07 05:59", "Sunday 7 November 2027, 01:59"),
    ("America/New_York", "2027-11-07 06:00", "Sunday 7 November 2027, 01:00"),
]


@pytest.mark.parametrize(("zone", "utc", "said"), MOMENTS)
def test_an_instant_is_told_by_the_clinics_day_and_clock(zone, utc, said):
    hand = _visit(zone, datetime.fromisoformat(f"{utc}+00:00"))
    words = Texts("en")
    assert words.moment(hand.now, hand.zone) == said
    assert words.clock(hand.now, hand.zone) == said[-5:]


def _trip(day: date, status: str, **more) -> TripView:
    given = {
        "id": 1, "patient_id": 1, "patient_code": "K-1", "patient_name": "Wanjiru", "plan_id": 1, "number": 1,
        "day": day, "window_start": day, "window_end": day, "status": status, "serves": ("right:look",),
        "services": ("review",), "tier": "C", "cannot_move": False, "overbooked": (), "arrived_at": None,
        "seen_on": None, "fulfilled_at": None, "served": (), "ended_reason": None,
    }  # fmt: skip
    return TripView(**{**given, **more})


def _plan(**more) -> CarePlan:
    given = {"patient": "K-1", "as_of": DAY0, "status": "active", "protocol": "sample", "protocol_hash": "ab"}
    return CarePlan.model_validate({**given, "approved": True, "engine": "1", **more})


@EACH_TURN
def test_how_a_visit_came_about_is_drawn_by_the_clinics_day(turn: Turn):
    before, after = turn.begins - timedelta(minutes=30), turn.begins + timedelta(minutes=30)
    part = {"serves": ("right:first-look", "right:pressure"), "served": ("right:pressure",)}
    for said, now, begun in turn.around:
        hand = _visit(turn.zone, now)
        for what, trip, drawn in (
            ("to come today", _trip(turn.eve, "proposed"), ("proposed", "noshow")),
            ("booked today", _trip(turn.eve, "booked"), ("booked", "noshow")),
            ("to come tomorrow", _trip(turn.day, "booked"), ("booked", "booked")),
            ("here today", _trip(turn.eve, "arrived", seen_on=turn.eve), ("proposed", "noshow")),
            ("left", _trip(turn.eve, "arrived", seen_on=turn.eve, left_at=before), ("noshow", "noshow")),
            ("in part, here", _trip(turn.eve, "arrived", seen_on=turn.eve, **part), ("proposed", "arrived")),
            ("in part, left", _trip(turn.eve, "arrived", left_at=before, **part), ("arrived", "arrived")),
            # A new plan signed on the day of the visit took it off in time, one signed later did not.
            ("ended on its day", _trip(turn.eve, "cancelled", ended_at=before), (None, None)),
            ("ended the day after", _trip(turn.eve, "cancelled", ended_at=after), ("noshow", "noshow")),
            ("ended, nobody knows when", _trip(turn.eve, "cancelled"), (None, None)),
            ("without a visit", _trip(turn.eve, "cancelled", ended_at=after, services=()), (None, None)),
            ("done", _trip(turn.eve, "fulfilled"), ("fulfilled", "fulfilled")),
            ("missed", _trip(turn.eve, "noshow"), ("noshow", "noshow")),
        ):
            found = [one.status for one in as_it_went(_plan(), [trip], hand).trips]
            expected = drawn[begun]
            assert found == ([expected] if expected else []), f"{what}, at {said}"


# What is on the shelf


def _steroid(first: date, days: int) -> Course:
    return Course(
        key="right:steroid", role="steroid", medicine="dexamethasone-0-1", eye="right",
        steps=(Step(start=first, days=days, count=4),),
    )  # fmt: skip


def _bottle(number: int, day: date, discard: date | None = None) -> Bottle:
    last = discard or day + timedelta(days=27)
    return Bottle(course="right:steroid", number=number, opened=day, discard=last, drops=0, handed_over=day)


# Midnights so far apart that nobody's bottles of one week are those of another.
APART = [turn for turn in TURNS if f"{turn.day}" in PHARMACY_DAYS and "Havana" not in turn.zone]


@pytest.fixture(scope="module")
def pharmacy(shared_ward):
    """For each of these midnights somebody who takes bottles home around it."""
    for number, turn in enumerate(APART):
        shared_ward.in_zone(turn.zone)
        days = (-2, -1, 0, 5, 6, 7)
        supply = tuple(_bottle(i, turn.day + timedelta(days=day)) for i, day in enumerate(days, 1))
        body = shared_ward.body(f"K-{number}", courses=(_steroid(turn.eve, 60),), supply=supply)
        shared_ward.signed(f"K-{number}", body)
    return shared_ward


@pytest.mark.parametrize("turn", APART, ids=[str(turn) for turn in APART])
def test_the_shelf_counts_what_goes_out_today_this_week_and_since_the_count(pharmacy, turn: Turn, protocol):
    pharmacy.in_zone(turn.zone)
    for said, now, begun in turn.around:
        found = shelf(_visit(turn.zone, now, pharmacy.store, protocol))
        # The second bottle goes out the evening before, the third on the day, the fourth to sixth within
        # the seven days of one of the two.
        assert [one.number for one in found.out] == ([3] if begun else [2]), f"goes out at {said}"
        (line,) = found.lines
        assert (line.today, line.week) == (1, 3), f"on the shelf at {said}"
        assert found.until == turn.day + timedelta(days=6 if begun else 5)

    def gone(counted_at: datetime) -> int:
        with pharmacy.store.write(EVERYBODY, counted_at) as unit:
            count_stock(unit, counts={"dexamethasone-0-1": 100})
        noon = turn.begins + timedelta(hours=12)
        (counted,) = shelf(_visit(turn.zone, noon, pharmacy.store, protocol)).lines
        return counted.gone

    # Counted the evening before: that day's bottle may have been there still, and counts as gone.
    for said, at, begun in turn.around:
        assert gone(at) == (0 if begun else 1), f"counted at {said}"
    assert gone(turn.begins - timedelta(days=1)) == 1
    assert gone(turn.begins - timedelta(days=1, hours=2)) == 2


# The day of surgery


@pytest.fixture
def operated(sqlite_ward, protocol):
    """Somebody operated on on the day that begins, whose pressure is measured before leaving."""

    def make(turn: Turn):
        ward = sqlite_ward
        ward.in_zone(turn.zone)
        check = BeforeLeaving(
            key="right:pressure", kind="pressure", eye="right", earliest="14:00", latest=None, text="measure"
        )
        record = ward.record("K-1")
        day = record.operations[0].model_copy(update={"date": turn.day})
        body = ward.body(before_leaving=(check,))
        who = ward.enter(record.model_copy(update={"operations": (day,)}))
        ward.draft(who, body)
        return ward

    return make


@pytest.mark.parametrize("turn", TURNS[:4], ids=IDS[:4])
def test_a_check_before_leaving_is_asked_on_the_clinics_day_of_the_operation(operated, turn: Turn, protocol):
    ward = operated(turn)
    midnight = next_midnight(turn)
    for said, now, asked in (
        *((said, now, begun) for said, now, begun in turn.around),
        ("23:30 of the day", midnight - timedelta(minutes=30), True),
        ("the midnight after", midnight, False),
    ):
        hand = _visit(turn.zone, now, ward.store, protocol)
        with ward.store.read() as session:
            assert len(checks_to_do(session, hand)) == asked, said


def next_midnight(turn: Turn) -> datetime:
    return local(turn.zone, f"{turn.day + timedelta(days=1)} 00:00")


@pytest.mark.parametrize(
    ("zone", "clock"), [("Asia/Kolkata", "00:10"), ("America/Lima", "23:50"), ("Pacific/Pago_Pago", "14:30")]
)
def test_the_pressure_before_leaving_is_written_down_with_the_clinics_day_and_clock(
    sqlite_ward, protocol, zone, clock
):
    day = date(2027, 3, 10)
    turn = Turn(zone, day, local(zone, "2027-03-10 00:00"))
    ward = sqlite_ward
    ward.in_zone(zone)
    record = ward.record("K-1")
    operation = record.operations[0].model_copy(update={"date": turn.day})
    check = BeforeLeaving(
        key="right:pressure", kind="pressure", eye="right", earliest=None, latest=None, text="measure"
    )
    with ward.store.write(SYSTEM, ward.now) as unit:
        add_staff(
            unit,
            login="all",
            name="Dr All",
            roles=sorted(EVERYBODY.roles),
            password_hash="-",
            registration="R",
        )
    who = ward.enter(record.model_copy(update={"operations": (operation,)}))
    ward.draft(who, ward.body(before_leaving=(check,)))
    hand = _visit(zone, local(zone, f"2027-03-10 {clock}"), ward.store, protocol)
    note_check(hand, "K-1", Checked(key="right:pressure", mmhg=18.0))
    with ward.store.read() as session:
        (look,) = newest_record(session, who).record.reviews
        assert checks_noted(session, day) == {(who, "right:pressure")}
    assert (look.date, look.time, look.pressure) == (day, clock, 18)


# Sheets


@EACH_TURN
def test_a_sheet_is_of_the_clinics_day_on_which_it_was_printed(shared_ward, turn: Turn, protocol):
    ward = shared_ward
    ward.in_zone(turn.zone)
    if not hasattr(ward, "sheet_plan"):
        ward.sheet_plan = ward.signed("SHEET", ward.body("SHEET"))
    bottles = (_bottle(1, turn.eve), _bottle(2, turn.day), _bottle(3, turn.eve - timedelta(days=27)))
    version = SimpleNamespace(body=SimpleNamespace(supply=bottles))

    def printed(unit):
        sheet = issue_sheet(
            unit, plan_id=ward.sheet_plan.id, sheet_id="A" * 10, language="en", reason="again"
        )
        hand = _visit(turn.zone, unit.now, ward.store, protocol)
        return content_of(unit.session, hand, sheet).foot.lines[0], [
            bottle.number for bottle in bottles_with(hand, sheet, version)
        ]

    for said, now, begun in turn.around:
        day = turn.day if begun else turn.eve
        dated, given = ward.would(now, printed, by=EVERYBODY)
        assert dated.endswith(f"{day:%A} {day.day} {day:%B} {day.year}"), f"printed at {said}: {dated}"
        # In use on that day: handed over by then, and to be thrown away that evening or later.
        assert given == ([1, 2] if begun else [1, 3]), f"printed at {said}"


# Days compared on the pages: the day before, the day itself, the day after.

DAYS = (-1, 0, 1)


def _on(number: int) -> date:
    return DAY0 + timedelta(days=number)


def _operated(day: int = 0, *looks: dict, **more) -> Record:
    operation = {"eye": "right", "eye_drawn": "right", "date": _on(day), "procedure": "phacoemulsification"}
    who = {"code": "K-1", "name": "Wanjiru Ndegwa", "birth_year": 1955}
    return Record.model_validate({"patient": who, "operations": [operation], "reviews": list(looks), **more})


def _view(protocol, today: int, record: Record | None = None, **plan) -> PlanView:
    version = SimpleNamespace(body=_plan(**plan))
    return PlanView(version, record or _operated(), protocol, _on(today))


def test_what_holds_on_the_day_of_the_operation_ends_with_that_day(protocol):
    check = BeforeLeaving(key="k", kind="pressure", eye="right", earliest=None, latest=None, text="measure")
    for today, shown in ((-1, 1), (0, 1), (1, 0)):
        assert len(_view(protocol, today, before_leaving=(check,)).before_leaving) == shown, today
    other = check.model_copy(update={"eye": "left"})
    assert _view(protocol, 0, before_leaving=(other,)).before_leaving == ()


def test_the_rounds_that_are_over_are_so_the_day_after_their_last():
    phases = tuple(
        DayPhase(start=_on(first), end=_on(last), times=times, doses=())
        for first, last, times in ((1, 7, ("06:00", "22:00")), (8, 14, ("06:00",)))
    )
    plan = _plan(rounds=phases)
    for today, left in ((6, 2), (7, 2), (8, 1), (14, 1), (15, 0)):
        rows = course_table(plan).days
        assert sum(not row.is_over(_on(today)) for row in rows) == left, f"on day {today}"
    for today, times in ((0, 2), (7, 2), (8, 1), (14, 1), (15, 0)):
        assert len(times_on(plan, _on(today))) == times, f"on day {today}"
    assert own_times_on(plan, _on(15)) == {}


def test_an_eye_with_high_pressure_is_untreated_from_the_day_after_its_pressure_medicine_ends(protocol):
    drops = Course(
        key="right:pressure", role="pressure", medicine="timolol-0-5", eye="right",
        steps=(Step(start=_on(1), days=7, count=2),),
    )  # fmt: skip
    look = {"eye": "right", "date": _on(1), "pressure": 32}
    record = _operated(0, look)
    for today, named in ((6, 0), (7, 0), (8, 1), (9, 1)):
        view = _view(protocol, today, record, courses=(drops,))
        assert len(untreated(view, record)) == named, f"on day {today}"
    for given, named in (
        ({"state": "held"}, 1),
        ({"state": "stopped"}, 1),
        ({"role": "steroid"}, 1),
        ({"eye": "left"}, 1),
        ({"eye": None}, 0),
    ):
        view = _view(protocol, 5, record, courses=(drops.model_copy(update=given),))
        assert len(untreated(view, record)) == named, given


def test_steps_that_are_left_begin_today_and_end_with_their_last_day():
    drops = Course(
        key="right:steroid", role="steroid", medicine="dexamethasone-0-1", eye="right",
        steps=(Step(start=_on(1), days=7, count=4), Step(start=_on(8), days=7, count=3)),
    )  # fmt: skip
    for day, left in (
        (0, ((4, 7), (3, 7))),
        (1, ((4, 7), (3, 7))),
        (2, ((4, 6), (3, 7))),
        (7, ((4, 1), (3, 7))),
        (8, ((3, 7),)),
        (14, ((3, 1),)),
        (15, ()),
    ):
        assert steps_left(drops, _on(day)) == left, f"from day {day}"
    held = drops.model_copy(update={"state": "held"})
    for day, taken, not_taken in ((0, 0, 1), (1, 1, 1), (14, 1, 1), (15, 0, 0)):
        for course, counted in ((drops, taken), (held, 0)):
            plan = SimpleNamespace(status="active", body=_plan(courses=(course,)))
            case = EyeCase(None, "right", None, (plan,), (), (), ())
            assert len(case.taken(_on(day))) == counted, f"{course.state} on day {day}"
            waits = not_taken if course.state == "held" else 0
            assert len(case.not_taken(_on(day))) == waits, f"{course.state} on day {day}"


def test_a_booked_visit_stands_in_the_plan_made_again_until_its_day_is_over():
    record = _operated()
    for as_of, kept in ((6, 1), (7, 1), (8, 0)):
        booked = _trip(_on(7), "booked", hour="09:30")
        assert len(with_visits(record, [booked], _on(as_of)).trips) == kept, f"as of day {as_of}"
        # What was missed or looked at stands whatever the day.
        for status, more in (("noshow", {}), ("fulfilled", {"served": ("right:look",)})):
            assert len(with_visits(record, [_trip(_on(7), status, **more)], _on(as_of)).trips) == 1


def test_days_after_surgery_are_counted_from_the_latest_operation_that_has_been(protocol):
    record = _operated(0)
    again = record.operations[0].model_copy(update={"date": _on(20)})
    both = record.model_copy(update={"operations": (*record.operations, again)})
    case = EyeCase(None, "right", SimpleNamespace(record=both), (), (), (), ())
    # Before the first operation the days count down to it.
    assert [case.day_of(_on(day)) for day in (-1, 0, 19, 20, 21)] == [-1, 0, 19, 0, 1]


# The age that a sheet tells, and the visits still to come, on the day of printing.
PRINTED = [("1957-03-07", 6, "70"), ("1957-03-08", 6, "69"), ("1957-03-08", 7, "70"), ("1956-02-29", 0, "71")]


@pytest.mark.parametrize(("born", "printed", "age"), PRINTED)
def test_a_sheet_tells_the_age_on_the_day_of_printing(protocol, born, printed, age):
    record = _operated()
    who = record.patient.model_copy(update={"birth_date": date.fromisoformat(born), "birth_year": None})
    sheet = build_content(
        _plan(),
        record.model_copy(update={"patient": who}),
        protocol.formulary,
        clinic_info(_visit("Asia/Kolkata", datetime(2027, 3, 1, 8, 30, tzinfo=UTC))),
        language="en",
        printed_on=_on(printed),
        aftercare=protocol.aftercare,
    )
    assert age in sheet.who.age.split()
