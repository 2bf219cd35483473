"""The states of a plan, a course and a visit: which there are, and what people call them.

Visits and plans take theirs from FHIR R4 (Appointment.status, CarePlan.status).
"""

from __future__ import annotations

from typing import Literal

from followup.said import say

PlanStatus = Literal["draft", "active", "on-hold", "revoked", "completed"]
CourseState = Literal["active", "held", "stopped"]
TripStatus = Literal["proposed", "booked", "arrived", "fulfilled", "noshow", "cancelled"]

TO_COME: tuple[TripStatus, ...] = ("proposed", "booked")
CAME: tuple[TripStatus, ...] = ("arrived", "fulfilled")
NOT_COMING: tuple[TripStatus, ...] = ("noshow", "cancelled")

PLAN_WORDS = {
    "draft": say("draft"),
    "active": say("signed, in force"),
    "on-hold": say("on hold: plan by hand"),
    "revoked": say("replaced"),
    "completed": say("completed"),
}
TRIP_WORDS = {
    "proposed": say("to come"),
    "booked": say("booked"),
    "arrived": say("arrived"),
    "fulfilled": say("seen"),
    "noshow": say("did not come"),
    "cancelled": say("cancelled"),
}
