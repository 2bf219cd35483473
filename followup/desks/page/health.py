"""For whatever watches the program: is it alive, and is it doing its work?"""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import JSONResponse
from sqlalchemy.exc import SQLAlchemyError

from followup.desks.door.visit import AnyVisit
from followup.recall.jobs.health import pulse

router = APIRouter()


@router.get("/healthz")
def alive() -> JSONResponse:
    """The process answers."""
    return JSONResponse({"status": "ok"})


@router.get("/readyz")
def ready(visit: AnyVisit) -> JSONResponse:
    """The database answers and the sweep that finds late visits has run in the last minutes."""
    try:
        with visit.desk.store.read() as session:
            found = pulse(session, visit.now)
    except SQLAlchemyError:
        return JSONResponse({"status": "database does not answer"}, 503)
    said: dict[str, str | int] = {"status": found.state}
    if found.age is not None:
        said["sweep_age_seconds"] = int(found.age.total_seconds())
    return JSONResponse(said, 200 if found.ok else 503)
