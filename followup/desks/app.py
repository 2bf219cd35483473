"""The web application, made from what it is given; nothing is read from the outside here."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import AbstractContextManager, asynccontextmanager, nullcontext

import anyio.to_thread
from fastapi import Depends, FastAPI
from fastapi.staticfiles import StaticFiles

from followup import resources
from followup.desks.door.guard import guard
from followup.desks.door.hand import Desk
from followup.desks.door.headers import SafeHeaders
from followup.desks.door.names import KnownHosts
from followup.desks.door.size import BoundedBody
from followup.desks.page import failures
from followup.desks.routes import ROUTERS
from followup.exchange.lists.table import MOST_BYTES

# A photo of a sheet is the largest thing that anyone sends, but for a clinic's own table; text has its own,
# smaller bounds.
MAX_BODY = 13_000_000
MAX_TABLE = MOST_BYTES + 1_000_000
MAX_JSON = 1_000_000
# Never more requests at work than the store's pool has connections.
THREADS = 12


def create_app(desk: Desk, *, jobs: Callable[[], AbstractContextManager[object]] = nullcontext) -> FastAPI:
    """The application. ``jobs()`` is entered while it runs: give the recall scheduler there."""

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        anyio.to_thread.current_default_thread_limiter().total_tokens = THREADS
        with jobs():
            yield

    app = FastAPI(
        title="Follow-up desks",
        lifespan=lifespan,
        dependencies=[Depends(guard)],
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
    )
    app.state.desk = desk
    app.add_middleware(BoundedBody, most=_most)
    app.add_middleware(KnownHosts)
    app.add_middleware(SafeHeaders, https=desk.https)
    for router in ROUTERS:
        app.include_router(router)
    app.mount("/static", StaticFiles(directory=resources.folder("templates") / "static"), name="static")
    failures.install(app)
    return app


def _most(path: str) -> int:
    """How many bytes may be sent to a path."""
    if path == "/operations/tables":
        return MAX_TABLE
    return MAX_JSON if path.startswith("/api/") and path != "/api/photo" else MAX_BODY
