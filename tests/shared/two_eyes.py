"""One sheet that says nearly everything: two eyes a week apart, seven medicines, a night, a bottle to come.

The plan is written by hand; what must come to stand on paper is written by hand beside it in the tests.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from followup.clinical.careplan import BeforeLeaving, CarePlan, Course, ReviewNeed, Step, Trip
from followup.clinical.day_plan import Bottle, DayPhase, Dose
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.record import Record, parse_record
from followup.sheets.content import ClinicInfo, SheetIssue, build_content
from followup.sheets.model import SheetContent

RIGHT_DONE, LEFT_DONE = date(2026, 5, 25), date(2026, 6, 1)  # two Mondays


def _june(day: int) -> date:
    return date(2026, 5, 31) + timedelta(days=day)


def _course(key: str, role: Any, medicine: str, *steps: tuple[int, int, int], **more: Any) -> Course:
    """``steps``: day of June, days, drops a day."""
    eye: Any = key.partition(":")[0]
    return Course(
        key=key,
        role=role,
        medicine=medicine,
        eye=None if eye == "mouth" else eye,
        steps=tuple(Step(start=_june(on), days=days, count=count) for on, days, count in steps),
        **more,
    )


def _phase(first: int, last: int, times: str, **doses: str) -> DayPhase:
    found = tuple(
        Dose(course=key.replace("_", ":"), count=len(at.split()), times=tuple(at.split()))
        for key, at in doses.items()
    )
    return DayPhase(start=_june(first), end=_june(last), times=tuple(times.split()), doses=found)


def _bottle(course: str, number: int, opened: int, discard: int, trip: int | None = None) -> Bottle:
    over = {None: LEFT_DONE, 2: _june(8)}[trip]
    return Bottle(
        course=course, number=number, opened=_june(opened), discard=_june(discard), drops=60,
        handed_over=over, handed_over_trip=trip,
    )  # fmt: skip


def _need(key: str, on: int) -> ReviewNeed:
    eye, kind = key.split(":")
    return ReviewNeed(
        key=key, kind=kind, eye=eye, service="doctor", tier="C",
        earliest=_june(on), target=_june(on), latest=_june(on + 2),
    )  # fmt: skip


def _trip(number: int, on: int, *serves: str, **more: Any) -> Trip:
    return Trip(
        number=number, date=_june(on), serves=serves, services=("doctor",), tier="C",
        window_start=_june(on), window_end=_june(on + 1), **more,
    )  # fmt: skip


_TABLETS = Step(start=_june(2), days=28, count=1, mg=20.0, tablets=4)

COURSES = (
    _course("right:steroid", "steroid", "prednisolone-acetate-1", (1, 5, 3), (6, 7, 2), (13, 7, 1)),
    _course("right:nsaid", "nsaid", "bromfenac-0-09", (1, 8, 2)),
    _course(
        "left:steroid", "steroid", "prednisolone-acetate-1", (2, 7, 4), (9, 7, 3), (16, 7, 2), (23, 7, 1)
    ),
    _course("left:antibiotic", "antibiotic", "moxifloxacin-0-5", (2, 7, 4)),
    _course("left:ointment", "antibiotic", "chloramphenicol-ointment", (2, 14, 1)),
    _course("left:pressure", "pressure", "dorzolamide-2", state="held", held_by=("q",)),
    Course(
        key="mouth:prednisolone", role="steroid tablet", medicine="prednisolone-5", eye=None,
        steps=(_TABLETS,), ordered_by="Dr Example",
    ),
)  # fmt: skip

ROUNDS = (
    _phase(
        2, 5, "06:00 11:00 14:00 17:00 22:00 01:00",
        right_steroid="06:00 14:00 22:00", right_nsaid="06:00 22:00",
        left_steroid="06:00 11:00 17:00 22:00", left_antibiotic="06:00 11:00 17:00 22:00",
        left_ointment="01:00", mouth_prednisolone="06:00",
    ),
    _phase(
        6, 8, "06:00 11:00 17:00 22:00 01:00",
        right_steroid="06:00 22:00", right_nsaid="06:00 22:00",
        left_steroid="06:00 11:00 17:00 22:00", left_antibiotic="06:00 11:00 17:00 22:00",
        left_ointment="01:00", mouth_prednisolone="06:00",
    ),
    _phase(
        9, 12, "06:00 14:00 22:00 01:00",
        right_steroid="06:00 22:00", left_steroid="06:00 14:00 22:00", left_ointment="01:00",
        mouth_prednisolone="06:00",
    ),
    _phase(
        13, 15, "06:00 14:00 22:00 01:00",
        right_steroid="06:00", left_steroid="06:00 14:00 22:00", left_ointment="01:00",
        mouth_prednisolone="06:00",
    ),
    _phase(
        16, 19, "06:00 22:00",
        right_steroid="06:00", left_steroid="06:00 22:00", mouth_prednisolone="06:00",
    ),
    _phase(20, 22, "06:00 22:00", left_steroid="06:00 22:00", mouth_prednisolone="06:00"),
    _phase(23, 29, "06:00", left_steroid="06:00", mouth_prednisolone="06:00"),
)  # fmt: skip

SUPPLY = (
    _bottle("right:steroid", 1, -5, 19),
    _bottle("right:nsaid", 1, -5, 8),
    _bottle("left:steroid", 1, 2, 20),
    _bottle("left:steroid", 2, 21, 29, trip=2),
    _bottle("left:antibiotic", 1, 2, 8),
    _bottle("left:ointment", 1, 2, 15),
    _bottle("mouth:prednisolone", 1, 9, 29, trip=2).model_copy(update={"units": 84}),
)


def plan(**changes: Any) -> CarePlan:
    made = CarePlan(
        patient="Q-731",
        as_of=LEFT_DONE,
        status="draft",
        protocol="Sample protocol 1",
        protocol_hash="0" * 64,
        approved=True,
        engine="1",
        courses=COURSES,
        rounds=ROUNDS,
        supply=SUPPLY,
        needs=(
            _need("left:first-look", 2), _need("left:wound", 8), _need("right:pressure", 8),
            _need("left:refraction", 36), _need("right:refraction", 36),
        ),
        trips=(
            _trip(1, 2, "left:first-look"),
            _trip(2, 8, "left:wound", "right:pressure", hour="10:30"),
            _trip(3, 36, "left:refraction", "right:refraction"),
        ),
        before_leaving=(
            BeforeLeaving(
                key="left:x", kind="pressure", eye="left", earliest="12:20", latest="16:20", text="for staff"
            ),
        ),
        last_steroid_day={"right": _june(19), "left": _june(29)},
    )  # fmt: skip
    return made.model_copy(update=changes)


def before() -> CarePlan:
    """The plan of the sheet that the patient has: the right eye alone, two drops of steroid a day."""
    steroid = _course("right:steroid", "steroid", "prednisolone-acetate-1", (1, 19, 2))
    nsaid = _course("right:nsaid", "nsaid", "bromfenac-0-09", (1, 8, 2))
    trips = (_trip(1, 15, "right:pressure"), _trip(2, 36, "right:refraction"))
    return plan(courses=(steroid, nsaid), rounds=(), supply=(), trips=trips, before_leaving=())


def record(**patient: Any) -> Record:
    operation = {
        "eye": "left", "eye_drawn": "left", "date": LEFT_DONE.isoformat(), "end": "09:20",
        "procedure": "phacoemulsification", "cut_mm": 2.4, "stitches": 0, "chamber": "normal",
    }  # fmt: skip
    first = operation | {"eye": "right", "eye_drawn": "right", "date": RIGHT_DONE.isoformat()}
    return parse_record(
        {
            "patient": {
                "code": "Q-731",
                "name": "Ibrahim Demo-Okoro",
                "birth_date": "1955-06-02",
                "language": "en",
                "waking": {"rise": "06:00", "bedtime": "23:00"},
                "allergies": [{"to": "penicillin", "reaction": "severe"}],
                **patient,
            },
            "operations": [first, operation],
        }
    )


CLINIC = ClinicInfo(
    name="Lantern Hill Eye Clinic",
    code="LH",
    telephone_day="+44 20 7946 0101",
    telephone_night="+44 20 7946 0177",
    nearest_eye_clinic="Riverside Eye Post",
    time_zone="Europe/London",
    address="4 Mill Road",
)

ISSUE = SheetIssue(
    code_grouped="7KQ2-MX4D-9TA",
    qr_payload="EYE1.K1.LH.7KQ2MX4D9TA.4F7Q2M8C",
    number="LH-0042",
    printed_on=LEFT_DONE,
    replaces=("LH-0038", RIGHT_DONE),
    signed_by="Dr Noor Example",
)


def content(formulary: dict[str, Medicine], **given: Any) -> SheetContent:
    """The sheet as it is handed out; whatever is given wins."""
    settings: dict[str, Any] = {"issue": ISSUE, "previous": before(), "printed_on": LEFT_DONE} | given
    clinic, told = settings.pop("clinic", CLINIC), settings.pop("record", record())
    return build_content(settings.pop("plan", plan()), told, formulary, clinic, **settings)
