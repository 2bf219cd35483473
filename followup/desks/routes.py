"""All routers of the desks, in the order in which their paths are tried."""

from __future__ import annotations

from followup.desks import (
    account,
    counsellor,
    eye,
    health,
    looks,
    plans,
    protocol,
    reception,
    sheets,
    staff_desk,
    steps,
    surgeon,
)

ROUTERS = (
    account.router,
    health.router,
    counsellor.router,
    plans.router,
    steps.router,
    eye.router,
    looks.router,
    surgeon.router,
    sheets.router,
    reception.router,
    protocol.router,
    staff_desk.router,
)
