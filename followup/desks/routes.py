"""All routers of the desks, in the order in which their paths are tried."""

from __future__ import annotations

from followup.desks.api import description
from followup.desks.counsellor import operations as counsellor
from followup.desks.counsellor import printing, sheets
from followup.desks.manager import bottles, figures, messages, protocol
from followup.desks.manager import calendar as calendar_desk
from followup.desks.manager import staff as staff_desk
from followup.desks.page import account, font_files, health, help_pages
from followup.desks.reception import calls as call_list
from followup.desks.reception import finding, following, moving, reaching
from followup.desks.reception import today as reception
from followup.desks.surgeon import alerts, deciding, eye, leaving, looks, plans, steps, waiting
from followup.desks.surgeon import my_patients as surgeon

ROUTERS = (
    account.router,
    *description.ROUTERS,
    description.router,
    health.router,
    help_pages.router,
    font_files.router,
    printing.router,
    counsellor.router,
    waiting.router,
    plans.router,
    deciding.router,
    steps.router,
    eye.router,
    looks.router,
    surgeon.router,
    sheets.router,
    finding.router,
    reaching.router,
    call_list.router,
    following.router,
    moving.router,
    reception.router,
    alerts.router,
    leaving.router,
    bottles.router,
    figures.router,
    messages.router,
    calendar_desk.router,
    protocol.router,
    staff_desk.router,
)
