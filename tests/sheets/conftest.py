"""Care plans written by hand, so that the sheet is tested apart from the rules that make plans."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pypdfium2
import pytest
from medicines import USUAL
from routine_plans import OPERATED, course, day, routine_plan

from followup.clinical.careplan import CarePlan
from followup.clinical.day_plan import Bottle, DayPhase, Dose
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.record import Record, parse_record
from followup.language.direction import without_marks
from followup.sheets.content import ClinicInfo, SheetIssue, SheetOptions, build_content
from followup.sheets.model import SheetContent
from followup.sheets.paper.pdf import render_pdf


@pytest.fixture
def make_plan() -> Callable[..., CarePlan]:
    return routine_plan


@pytest.fixture
def plan() -> CarePlan:
    return routine_plan()


def routine_record(**patient: Any) -> Record:
    return parse_record(
        {
            "patient": {
                "code": "P-204",
                "name": "Asha Verhoeven-Demo",
                "birth_date": "1955-03-09",
                "language": "en",
                **patient,
            },
            "operations": [
                {
                    "eye": "left",
                    "eye_drawn": "left",
                    "date": OPERATED.isoformat(),
                    "procedure": "phacoemulsification",
                    "cut_mm": 2.4,
                    "stitches": 0,
                    "chamber": "normal",
                }
            ],
        }
    )


@pytest.fixture
def record() -> Record:
    return routine_record()


def medicine(id: str, name: str, strength: str, form: str, role: str, **more: Any) -> Medicine:
    kinds = {"steroid": "corticosteroid", "nsaid": "nsaid", "antibiotic": "fluoroquinolone"}
    data: dict[str, Any] = {
        "id": id,
        "name": name,
        "strength": strength,
        "form": form,
        "role": role,
        "kinds": [kinds.get(role, "lubricant")],
        "substances": [id],
        "source": "made up for the test",
        "mark": "C",
    }
    if form in ("solution", "suspension", "emulsion"):
        data["volume_ml"] = 5
    if form in ("gel", "ointment"):
        data["weight_g"] = 3.5
    if form == "tablet":
        data["tablet_mg"] = float(strength.removesuffix(" mg"))
    if role == "steroid":
        data |= {"potency": "strong", "potency_mark": "C"}
    if role == "nsaid":
        data |= {
            "label_count": 2,
            "label_days": [{"country": "UK", "days": 14, "source": "made up", "mark": "C"}],
        }
    if form == "suspension":
        data["shake"] = True
    return Medicine.model_validate(USUAL | data | more)


FORMULARY = {
    made.id: made
    for made in (
        medicine("prednisolone-acetate-1", "Prednisolone acetate", "1%", "suspension", "steroid"),
        medicine("moxifloxacin-0-5", "Moxifloxacin", "0.5%", "solution", "antibiotic"),
        medicine("bromfenac-0-09", "Bromfenac", "0.09%", "solution", "nsaid"),
        medicine("dorzolamide-2", "Dorzolamide", "2%", "solution", "pressure"),
        medicine("chloramphenicol-ointment", "Chloramphenicol", "1%", "ointment", "antibiotic"),
        medicine("prednisolone-5", "Prednisolone", "5 mg", "tablet", "steroid tablet", route="mouth"),
    )
}


@pytest.fixture
def formulary() -> dict[str, Medicine]:
    return dict(FORMULARY)


@pytest.fixture
def clinic() -> ClinicInfo:
    return ClinicInfo(
        name="Lantern Hill Eye Clinic",
        code="LH",
        telephone_day="+44 20 7946 0101",
        telephone_night="+44 20 7946 0102",
        nearest_eye_clinic="Riverside Eye Post, Ford Street",
        time_zone="Europe/London",
    )


@pytest.fixture
def issue() -> SheetIssue:
    return SheetIssue(
        code_grouped="7KQ2-MX4D-9TA",
        qr_payload="EYE1.K1.LH.7KQ2MX4D9TA.4F7Q2M8C",
        number="LH-0042",
        printed_on=OPERATED,
        signed_by="Dr Noor Example",
    )


@pytest.fixture
def make_record() -> Callable[..., Record]:
    return routine_record


@pytest.fixture
def make_content(
    formulary: dict[str, Medicine], clinic: ClinicInfo, issue: SheetIssue
) -> Callable[..., SheetContent]:
    """A sheet of the routine plan; ``plan``, ``record``, ``issue`` and any other argument can be given."""

    def make(**given: Any) -> SheetContent:
        plan = given.pop("plan", routine_plan(approved=True))
        record = given.pop("record", routine_record())
        settings = {"issue": issue, "printed_on": OPERATED} | given
        return build_content(plan, record, formulary, settings.pop("clinic", clinic), **settings)

    return make


@pytest.fixture
def all_texts() -> Callable[[SheetContent], list[str]]:
    """Every text that a sheet prints, without direction marks."""

    def texts(value: Any) -> list[str]:
        if isinstance(value, str):
            return [without_marks(value)]
        if isinstance(value, dict):
            return [t for key, part in value.items() if key != "payload" for t in texts(part)]
        if isinstance(value, (list, tuple)):
            return [t for part in value for t in texts(part)]
        return []

    return lambda content: texts(content.model_dump(exclude={"fonts", "stairs", "language", "direction"}))


_RENDERED: dict[tuple[str, SheetOptions], bytes] = {}


@pytest.fixture
def pdf_of(make_content: Callable[..., SheetContent]) -> Callable[..., bytes]:
    """The routine sheet's PDF in a language, set once and shared: many tests only read it."""

    def rendered(tag: str, **options: Any) -> bytes:
        key = (tag, SheetOptions(**options))
        if key not in _RENDERED:
            _RENDERED[key] = render_pdf(make_content(language=tag, options=key[1]))
        return _RENDERED[key]

    return rendered


@pytest.fixture
def open_pdf() -> Iterator[Callable[[bytes], pypdfium2.PdfDocument]]:
    """Opens PDFs for reading and closes them after the test."""
    opened: list[pypdfium2.PdfDocument] = []

    def reader(pdf: bytes) -> pypdfium2.PdfDocument:
        opened.append(pypdfium2.PdfDocument(pdf))
        return opened[-1]

    yield reader
    for document in opened:
        document.close()


def long_plan(**changes: Any) -> CarePlan:
    """Eleven weeks of both eyes with five bottles: the longest that a sheet has to bear."""
    counts = ((16, 7), (8, 7), (6, 7), (5, 7), (4, 14), (3, 14), (2, 14), (1, 7))
    hours = [f"{hour:02d}:00" for hour in range(6, 22)]
    roles = (
        ("right:steroid", "steroid", "prednisolone-acetate-1"),
        ("right:nsaid", "nsaid", "bromfenac-0-09"),
        ("left:antibiotic", "antibiotic", "moxifloxacin-0-5"),
        ("left:nsaid", "nsaid", "bromfenac-0-09"),
        ("left:steroid", "steroid", "prednisolone-acetate-1"),
    )
    courses = tuple(course(key, role, medicine, *counts) for key, role, medicine in roles)
    phases = tuple(
        DayPhase(
            start=step.start,
            end=step.end,
            times=tuple(hours[: step.count]),
            doses=tuple(
                Dose(course=c.key, count=step.count, times=tuple(hours[: step.count])) for c in courses
            ),
        )
        for step in courses[0].steps
    )
    supply = tuple(
        Bottle(
            course=c.key,
            number=n,
            opened=day(1 + 20 * i),
            discard=day(28 + 20 * i),
            drops=90,
            handed_over=day(0),
        )
        for c in courses
        for i, n in enumerate((1, 2, 3, 4))
    )
    given = {"courses": courses, "rounds": phases, "supply": supply, "last_steroid_day": {}}
    return routine_plan(**(given | changes))


def _turned(plan: CarePlan) -> CarePlan:
    """The same plan for the right eye."""
    courses = tuple(
        c.model_copy(update={"key": c.key.replace("left", "right"), "eye": "right"}) for c in plan.courses
    )
    rounds = tuple(
        p.model_copy(
            update={
                "doses": tuple(
                    d.model_copy(update={"course": d.course.replace("left", "right")}) for d in p.doses
                )
            }
        )
        for p in plan.rounds
    )
    supply = tuple(b.model_copy(update={"course": b.course.replace("left", "right")}) for b in plan.supply)
    return plan.model_copy(update={"courses": courses, "rounds": rounds, "supply": supply})


@pytest.fixture
def of_eyes() -> Callable[[str], dict[str, Any]]:
    """Plan and record of the "left" eye, the "right" or "both"; of the right of two the steroid alone."""

    def made(eyes: str) -> dict[str, Any]:
        left = routine_plan(approved=True)
        right, record = _turned(left), two_eyed_record()
        if eyes == "left":
            return {"plan": left, "record": routine_record()}
        if eyes == "right":
            alone = record.model_copy(update={"operations": record.operations[:1]})
            return {"plan": right, "record": alone}
        rounds = tuple(
            one.model_copy(update={"doses": (*one.doses, *(d for d in two.doses if "steroid" in d.course))})
            for one, two in zip(left.rounds, right.rounds, strict=True)
        )
        courses, supply = (*left.courses, right.courses[0]), (*left.supply, right.supply[0])
        both = left.model_copy(update={"courses": courses, "rounds": rounds, "supply": supply})
        return {"plan": both, "record": record}

    return made


def two_eyed_record(**patient: Any) -> Record:
    record = routine_record(**patient)
    other = record.operations[0].model_copy(update={"eye": "right", "eye_drawn": "right"})
    return record.model_copy(update={"operations": (other, *record.operations)})


@pytest.fixture
def make_long_content(make_content: Callable[..., SheetContent]) -> Callable[..., SheetContent]:
    """The longest sheet: see ``long_plan``."""

    def make(**given: Any) -> SheetContent:
        return make_content(**({"plan": long_plan(approved=True), "record": two_eyed_record()} | given))

    return make
