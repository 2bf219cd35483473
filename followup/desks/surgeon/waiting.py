"""Plans that wait for the surgeon: those that nothing is asked about are signed together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request, Response

from followup.care.plans.plan_view import PlanView, Untreated, untreated, view_of
from followup.care.plans.signing import Several, may_go_together, sign_several
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, as_typed, number_of, password_of
from followup.desks.surgeon.at_a_glance import GlancePart, at_a_glance
from followup.drawings.staircase import Staircase, build_staircase
from followup.errors import FollowupError
from followup.records.people.patients import newest_record, patient
from followup.records.plans.plans import plans_waiting_for_signature
from followup.records.store.store import Session
from followup.records.views import PatientView, PlanVersion

router = APIRouter()


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
def waiting(request: Request, hand: AnyHand, signed: str = "") -> Response:
    return _page(request, hand, signed=number_of(signed))


@router.post("/waiting/sign")
def sign_together(request: Request, hand: AnyHand, form: AForm) -> Response:
    """Sign every plan that was looked at and ticked, each in its own right; one that fails stops no other."""
    ids = [number for text in form.get("plan", []) if (number := number_of(text))]
    try:
        done, failed = sign_several(hand, as_typed(Several, plans=ids, password=password_of(form)))
    except FollowupError as exc:
        return _page(request, hand, error=exc.line, ticked=ids, status=status_of(exc))
    if not failed:
        return go(f"/waiting?signed={done}")
    return _page(request, hand, failed=failed, signed=done, ticked=ids)


def waiting_plans(hand: DeskHand) -> list[Waiting]:
    """Every draft, those that can be signed at once first."""
    with hand.store.read() as session:
        drafts = sorted(plans_waiting_for_signature(session), key=lambda one: not one.body.signable)
        return [_line(session, hand, version) for version in drafts]


def _page(
    request: Request,
    hand: DeskHand,
    *,
    error: str | None = None,
    failed: Sequence[tuple[int, str]] = (),
    signed: int = 0,
    ticked: Sequence[int] = (),
    status: int = 200,
) -> Response:
    """Plans to sign: those with an open question after those that can be signed at once."""
    lines = waiting_plans(hand)
    return show(
        request,
        "waiting.html",
        status=status,
        lines=lines,
        together=[line for line in lines if line.together],
        error=error,
        failed=failed,
        signed=signed,
        ticked=frozenset(ticked),
    )


def _line(session: Session, hand: DeskHand, version: PlanVersion) -> Waiting:
    who = patient(session, version.patient_id)
    view = view_of(session, hand, version)
    high = untreated(view, newest_record(session, who.id).record)
    together = not high and may_go_together(session, hand, view, who.record_number)
    stairs = build_staircase(version.body, mirrored=hand.texts.runs_left)
    return Waiting(version, who, view, stairs, together, at_a_glance(view, hand.texts), high)
