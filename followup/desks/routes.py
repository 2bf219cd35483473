"""All routers of the desks: the ``router`` of every module in a desk's folder, and those for programs.

No address is answered by two modules, so their order is of no account.
"""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from pkgutil import iter_modules

from fastapi import APIRouter

from followup.desks import counsellor, manager, page, reception, surgeon
from followup.desks.api import description


def _found() -> Iterator[APIRouter]:
    for desk in (page, counsellor, surgeon, reception, manager):
        for module in iter_modules(desk.__path__, f"{desk.__name__}."):
            router = getattr(import_module(module.name), "router", None)
            if isinstance(router, APIRouter):
                yield router


ROUTERS = (*description.ROUTERS, description.router, *_found())
