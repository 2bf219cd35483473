"""Plans that wait for the surgeon: those that nothing is asked about are signed together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request, Response

from followup.care.plans.plan_view import PlanView, Untreated, record_of, untreated
from followup.care.plans.signing import Several, may_go_together, sign_several
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go, show
from followup.desks.page.parts import Part, Whole, part
from followup.desks.page.posted import AForm, as_typed, first, number_of, password_of
from followup.desks.surgeon.at_a_glance import GlancePart, at_a_glance
from followup.drawings.staircase import Staircase, build_staircase
from followup.errors import FollowupError
from followup.records.people.patients import newest_records, patients_by_id
from followup.records.plans.listed import ListedPlan, drafts_waiting
from followup.records.plans.plans import plans_by_id, plans_in_force
from followup.records.store.store import Session
from followup.records.views import PatientView, PlanVersion, RecordVersion

router = APIRouter()
ALL = "plans"


@dataclass(frozen=True)
class Waiting:
    """A plan that waits; ``together``: nothing about it needs a page of its own before it is signed.

    ``untreated``: eyes under high pressure for which it holds no pressure medicine.
    """

    plan: PlanVersion
    who: PatientView
    view: PlanView
    stairs: Staircase | None
    together: bool
    glance: tuple[GlancePart, ...]
    untreated: tuple[Untreated, ...]


@router.get("/waiting")
def waiting(request: Request, hand: AnyHand, signed: str = "", whole: Whole = "") -> Response:
    return _page(request, hand, signed=number_of(signed), whole=whole)


@router.post("/waiting/sign")
def sign_together(request: Request, hand: AnyHand, form: AForm) -> Response:
    """Sign every plan that was looked at and ticked, each in its own right; one that fails stops no other."""
    ids, whole = [number for text in form.get("plan", []) if (number := number_of(text))], first(form, "all")
    try:
        done, failed = sign_several(hand, as_typed(Several, plans=ids, password=password_of(form)))
    except FollowupError as exc:
        return _page(request, hand, error=exc.line, ticked=ids, status=status_of(exc), whole=whole)
    if not failed:
        return go(f"/waiting?signed={done}")
    return _page(request, hand, failed=failed, signed=done, ticked=ids, whole=whole)


def waiting_plans(hand: DeskHand, whole: str = ALL) -> Part[Waiting]:
    """The drafts, those that can be signed at once first; all of them, or the first where not asked for."""
    with hand.store.read() as session:
        drafts = sorted(drafts_waiting(session), key=lambda one: not one.gist.signable)
        shown = part(ALL, drafts, whole)
        return _told(session, hand, shown)


def _page(
    request: Request,
    hand: DeskHand,
    *,
    error: str | None = None,
    failed: Sequence[tuple[int, str]] = (),
    signed: int = 0,
    ticked: Sequence[int] = (),
    status: int = 200,
    whole: str = "",
) -> Response:
    """Plans to sign: those with an open question after those that can be signed at once."""
    plans = waiting_plans(hand, whole)
    return show(
        request,
        "waiting.html",
        status=status,
        plans=plans,
        whole=whole,
        together=[line for line in plans.lines if line.together],
        error=error,
        failed=failed,
        signed=signed,
        ticked=frozenset(ticked),
    )


def _told(session: Session, hand: DeskHand, drafts: Part[ListedPlan]) -> Part[Waiting]:
    """As many queries however many there are, but for a draft of an older record."""
    whose = {one.patient_id for one in drafts.lines}
    versions = plans_by_id(session, (one.id for one in drafts.lines))
    people, newest = patients_by_id(session, whose), newest_records(session, whose)
    in_force = plans_in_force(session, whose)

    def line(one: ListedPlan) -> Waiting:
        version, record = versions[one.id], newest[one.patient_id]
        old = version.record_number != record.number
        made_from = record_of(session, version) if old else record
        view = PlanView(version, made_from.record, hand.protocol, hand.today)
        return _line(hand, view, people[one.patient_id], record, one.patient_id in in_force)

    return drafts.filled(line)


def _line(hand: DeskHand, view: PlanView, who: PatientView, newest: RecordVersion, in_force: bool) -> Waiting:
    version, high = view.version, untreated(view, newest.record)
    together = not (high or in_force) and may_go_together(hand, view, newest.number)
    stairs = build_staircase(version.body, mirrored=hand.texts.runs_left)
    return Waiting(version, who, view, stairs, together, at_a_glance(view, hand.texts), high)
