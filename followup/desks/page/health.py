"""For whatever watches the program: is it alive, and is it doing its work?"""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import JSONResponse
from sqlalchemy.exc import SQLAlchemyError

from followup.desks.door.hand import AnyHand
from followup.errors import FollowupError
from followup.recall.jobs.health import pulse

router = APIRouter()


@router.get("/healthz")
def alive() -> JSONResponse:
    """The process answers."""
    return JSONResponse({"status": "ok"})


@router.get("/readyz")
def ready(hand: AnyHand) -> JSONResponse:
    """The database answers and the sweep that finds late visits has run in the last minutes."""
    try:
        with hand.store.read() as session:
            found = pulse(session, hand.now)
    except (SQLAlchemyError, FollowupError):
        return JSONResponse({"status": "database does not answer"}, 503)
    said: dict[str, str | int] = {"status": found.state}
    if found.age is not None:
        said["sweep_age_seconds"] = int(found.age.total_seconds())
    return JSONResponse(said, 200 if found.ok else 503)
