"""What every route stands on: strict JSON in, closed types, and a router that reads it so."""

from __future__ import annotations

import json
from collections.abc import Callable, Coroutine
from typing import Annotated, Any, Self

from fastapi import APIRouter, Path, Request, Response
from fastapi.routing import APIRoute
from pydantic import BaseModel, ConfigDict
from starlette.exceptions import HTTPException

from followup.care.act import MOST_ID

Code = Annotated[str, Path(alias="code", min_length=1, max_length=60, description="code of the patient")]
PlanId = Annotated[int, Path(alias="plan", ge=1, le=MOST_ID)]
TripId = Annotated[int, Path(alias="trip", ge=1, le=MOST_ID)]
SheetId = Annotated[
    str, Path(alias="sheet", min_length=1, max_length=60, description="recall id of the sheet")
]


class Given(BaseModel):
    """What a program is given, read off one of our own values."""

    model_config = ConfigDict(extra="forbid", frozen=True, from_attributes=True)

    @classmethod
    def of(cls, view: object, **more: object) -> Self:
        """Read off ``view``; ``more``: the fields that it does not hold under their names."""
        fields = cls.model_fields.keys() - more.keys()
        return cls.model_validate({name: getattr(view, name) for name in fields} | more)


class _Strict(Request):
    """A request whose JSON says everything once and holds only what can be stored."""

    async def json(self) -> Any:
        try:
            found = json.loads(await self.body(), object_pairs_hook=_no_doubles, parse_constant=_no_constant)
        except (ValueError, RecursionError) as exc:
            raise HTTPException(400, f"not valid JSON: {exc}"[:200]) from None
        _refuse_unstorable(found)
        return found


class _StrictRoute(APIRoute):
    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        handle = super().get_route_handler()

        async def strictly(request: Request) -> Response:
            return await handle(_Strict(request.scope, request.receive))

        return strictly


def router_of(tag: str) -> APIRouter:
    """A router below ``/api``; ``tag`` groups its routes in the description."""
    return APIRouter(prefix="/api", tags=[tag], route_class=_StrictRoute)


def _no_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key stands twice")
    return found


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is no number")


def _refuse_unstorable(value: Any) -> None:
    """A zero byte or half a character can't be stored; a loop, as the depth is the sender's choice."""
    waiting = [value]
    while waiting:
        one = waiting.pop()
        if isinstance(one, dict):
            waiting += [*one, *one.values()]
        elif isinstance(one, list):
            waiting += one
        elif isinstance(one, str) and any(c == "\0" or "\ud800" <= c <= "\udfff" for c in one):
            raise HTTPException(400, "a text holds a zero byte or half a character")
