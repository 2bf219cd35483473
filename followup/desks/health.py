"""For whatever watches the program: is it alive, and is it doing its work?"""

from __future__ import annotations

from datetime import timedelta

from fastapi import APIRouter
from fastapi.responses import JSONResponse
from sqlalchemy.exc import SQLAlchemyError

from followup.desks.desk import AnyVisit
from followup.recall.sweep import SWEEP, last_heartbeat

router = APIRouter()
STALE = timedelta(minutes=5)


@router.get("/healthz")
def alive() -> JSONResponse:
    """The process answers."""
    return JSONResponse({"status": "ok"})


@router.get("/readyz")
def ready(visit: AnyVisit) -> JSONResponse:
    """The database answers and the sweep that finds late visits has run within five minutes."""
    try:
        with visit.desk.store.read() as session:
            beat = last_heartbeat(session, SWEEP)
    except SQLAlchemyError:
        return JSONResponse({"status": "database does not answer"}, 503)
    if beat is None:
        return JSONResponse({"status": "the sweep has never run"}, 503)
    age = visit.now - beat.at
    status = (
        "ok" if age <= STALE and beat.ok else "the sweep is not running" if beat.ok else "the sweep fails"
    )
    code = 200 if status == "ok" else 503
    return JSONResponse({"status": status, "sweep_age_seconds": int(age.total_seconds())}, code)
