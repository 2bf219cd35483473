"""All routers of the desks, in the order in which their paths are tried."""

from __future__ import annotations

from followup.desks import (
    account,
    api,
    bottles,
    calendar_desk,
    counsellor,
    eye,
    figures,
    finding,
    health,
    looks,
    moving,
    plans,
    printing,
    protocol,
    reaching,
    reception,
    sheets,
    staff_desk,
    steps,
    surgeon,
)

ROUTERS = (
    account.router,
    api.router,
    health.router,
    printing.router,
    counsellor.router,
    plans.router,
    steps.router,
    eye.router,
    looks.router,
    surgeon.router,
    sheets.router,
    finding.router,
    reaching.router,
    moving.router,
    reception.router,
    bottles.router,
    figures.router,
    calendar_desk.router,
    protocol.router,
    staff_desk.router,
)
