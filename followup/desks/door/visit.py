"""Who asks, at which desk: what the guard has let in, for every route."""

from __future__ import annotations

from typing import Annotated, cast

from fastapi import Depends, Request

from followup.care.hand import Desk, Visit


def desk_of(request: Request) -> Desk:
    """The desk that the application was made with."""
    return cast(Desk, request.app.state.desk)


def visit_of(request: Request) -> Visit:
    """The visit that the guard has let in."""
    return cast(Visit, request.state.visit)


AnyVisit = Annotated[Visit, Depends(visit_of)]
