"""The sheets of the told operations as they are handed out: the first one, and one that takes its place."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from importlib.resources import files

from followup.clinical.careplan import CarePlan
from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import Record, parse_json_object, parse_record
from followup.sheets.content import ClinicInfo, SheetIssue, build_content
from followup.sheets.model import SheetContent
from followup.sheets.options import SheetOptions
from followup.sheets.paper.pdf import laid_out

_FOLDER = files("followup") / "demo" / "cases"
# The last is a child's, whose plan is refused.
CASES = tuple(sorted(p.name[:-5] for p in _FOLDER.iterdir() if p.name.endswith(".json")))[:-1]
PROTOCOL = load_protocol()
CLINIC = ClinicInfo(
    name="Lantern Hill Eye Clinic",
    code="LH",
    telephone_day="+44 20 7946 0101",
    telephone_night="+44 20 7946 0102",
    nearest_eye_clinic="Riverside Eye Post, Ford Street",
    time_zone="Europe/London",
    address="4 Mill Road, Ford",
    sample=True,
)


@dataclass(frozen=True)
class Told:
    record: Record
    plan: CarePlan
    day: date


@cache
def told(case: str) -> Told:
    """A told operation with its plan, as if the surgeon had answered every question."""
    record = parse_record(parse_json_object((_FOLDER / f"{case}.json").read_text("utf-8"), case))
    plan = build_plan(record, PROTOCOL, as_of=record.last_operation_day)
    decided = tuple(c.model_copy(update={"decided_by": "Dr Noor Example"}) for c in plan.cautions)
    answered = {"approved": True, "questions": (), "impossible": (), "cautions": decided}
    return Told(record, plan.model_copy(update=answered), record.last_operation_day)


def sheet(
    case: str, tag: str, *, replaced: bool = False, options: SheetOptions | None = None
) -> SheetContent:
    """``replaced``: the sheet before had a medicine less and every visit a day later."""
    of = told(case)
    issue = SheetIssue(
        code_grouped="7KQ2-MX4D-9TA",
        qr_payload="EYE1.K1.LH.7KQ2MX4D9TA.4F7Q2M8C",
        number="LH-0042",
        printed_on=of.day,
        replaces=("LH-0038", of.day - timedelta(days=1)) if replaced else None,
        signed_by="Dr Noor Example",
    )
    return build_content(
        of.plan,
        of.record,
        PROTOCOL.formulary,
        CLINIC,
        language=tag,
        issue=issue,
        printed_on=of.day,
        aftercare=PROTOCOL.aftercare,
        previous=_before(of.plan) if replaced else None,
        options=options,
    )


@cache
def printed(
    case: str, tag: str, *, replaced: bool = False, options: SheetOptions | None = None
) -> tuple[SheetContent, bytes, int]:
    """The same with its PDF and how many pages that has, set once."""
    content = sheet(case, tag, replaced=replaced, options=options)
    pdf, _, pages = laid_out(content)
    return content, pdf, pages


def _before(plan: CarePlan) -> CarePlan:
    later = tuple(t.model_copy(update={"date": t.date + timedelta(days=1)}) for t in plan.trips)
    gone = plan.courses[0].key
    rounds = tuple(
        phase.model_copy(update={"doses": tuple(d for d in phase.doses if d.course != gone)})
        for phase in plan.rounds
    )
    return plan.model_copy(update={"courses": plan.courses[1:], "rounds": rounds, "trips": later})
