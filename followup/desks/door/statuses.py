"""The HTTP status that each refusal is answered with."""

from __future__ import annotations

from followup.errors import FollowupError

# The last part of a code, or the whole of it, tells the status; everything else is 422.
_STATUS = {
    "login.refused": 401,
    "login.wait": 429,
    "login.code": 401,
    "login.ticket": 401,
    "login.busy": 503,
    "role.missing": 403,
    "request.cross-site": 403,
    "password.wrong": 403,
    "password.own": 403,
    "asked.second": 403,
    "staff.waiting": 403,
    "protocol.unsigned": 403,
    "store.conflict": 409,
    "record.changed": 409,
    "staff.changed": 409,
    "asked.decided": 409,
    "record.exists": 409,
    "plan.changed": 409,
    "plan.signed": 409,
    "plan.replaced": 409,
    "plan.stale": 409,
    "protocol.changed": 409,
    "trip.arrived": 409,
    "alert.closed": 409,
    "trip.changed": 409,
    "trip.state": 409,
    "sheet.handed_over": 409,
    "erase.followed": 409,
    "erase.gone": 409,
    "sheet.replaced": 409,
    "place.full": 409,
    "bottle.changed": 409,
    "photo.size": 413,
    "store.busy": 503,
    "store.full": 503,
    "store.lost": 503,
    "store.unreachable": 503,
    "clinic.missing": 503,
}


def status_of(error: FollowupError) -> int:
    """The HTTP status of one of our errors."""
    if error.code.endswith(".unknown"):
        return 404
    return _STATUS.get(error.code, 422)
