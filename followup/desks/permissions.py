"""Who may do what: one table of every route against every role.

A route that is missing here is refused to everybody, and a test fails.
"""

from __future__ import annotations

from typing import Final

COUNSELLOR, RECEPTION, SURGEON = "counsellor", "reception", "surgeon"
PHARMACY, MANAGER = "pharmacy", "manager"
ROLES: Final = (COUNSELLOR, RECEPTION, SURGEON, PHARMACY, MANAGER)

STAFF: Final = frozenset(ROLES)
ANYONE: Final = STAFF | {"anonymous"}
CLINICAL: Final = frozenset({COUNSELLOR, SURGEON})
FRONT: Final = frozenset({COUNSELLOR, RECEPTION, SURGEON})
DESKS: Final = frozenset({COUNSELLOR, RECEPTION})
ONLY_RECEPTION: Final = frozenset({RECEPTION})
ONLY_SURGEON: Final = frozenset({SURGEON})
STORE: Final = frozenset({PHARMACY, MANAGER})
OVERVIEW: Final = frozenset({MANAGER, SURGEON})
ONLY_MANAGER: Final = frozenset({MANAGER})

TABLE: Final[dict[tuple[str, str], frozenset[str]]] = {
    # everybody
    ("GET", "/healthz"): ANYONE,
    ("GET", "/readyz"): ANYONE,
    ("GET", "/log-in"): ANYONE,
    ("GET", "/fonts/{name}"): ANYONE,
    ("POST", "/log-in"): ANYONE,
    ("POST", "/log-out"): STAFF,
    ("GET", "/"): STAFF,
    ("GET", "/help"): STAFF,
    ("GET", "/help/{desk}"): STAFF,
    ("GET", "/password"): STAFF,
    ("POST", "/password"): STAFF,
    ("GET", "/protocol"): STAFF,
    ("POST", "/protocol/sign"): ONLY_SURGEON,
    # the operation and its record
    ("GET", "/operations"): CLINICAL,
    ("GET", "/operations/new"): CLINICAL,
    ("POST", "/operations/new"): CLINICAL,
    ("GET", "/operations/paste"): CLINICAL,
    ("POST", "/operations/paste"): CLINICAL,
    ("POST", "/operations/list"): CLINICAL,
    ("GET", "/patients/{code}"): FRONT,
    ("GET", "/patients/{code}/record"): CLINICAL,
    ("POST", "/patients/{code}/record"): CLINICAL,
    ("POST", "/operations/preview"): CLINICAL,
    ("POST", "/operations/sheets"): CLINICAL,
    ("GET", "/operations/sheets.pdf"): CLINICAL,
    # the plan
    ("GET", "/waiting"): ONLY_SURGEON,
    ("GET", "/plans/{plan}"): CLINICAL,
    ("GET", "/plans/{plan}/draft.pdf"): CLINICAL,
    ("POST", "/plans/{plan}/again"): CLINICAL,
    ("POST", "/plans/{plan}/answers"): ONLY_SURGEON,
    ("GET", "/plans/{plan}/steps"): ONLY_SURGEON,
    ("POST", "/plans/{plan}/steps"): ONLY_SURGEON,
    ("POST", "/plans/{plan}/take-back"): ONLY_SURGEON,
    ("POST", "/plans/{plan}/decisions"): ONLY_SURGEON,
    ("POST", "/plans/{plan}/decisions/take-back"): ONLY_SURGEON,
    ("POST", "/plans/{plan}/sign"): ONLY_SURGEON,
    ("GET", "/plans/{plan}/against/{other}"): CLINICAL,
    # the eye and what was seen of it
    ("GET", "/my-patients"): ONLY_SURGEON,
    ("POST", "/waiting/sign"): ONLY_SURGEON,
    ("POST", "/patients/{code}/standing"): ONLY_SURGEON,
    ("GET", "/patients/{code}/eyes/{eye}"): CLINICAL,
    ("POST", "/patients/{code}/eyes/{eye}/findings"): CLINICAL,
    ("GET", "/patients/{code}/eyes/{eye}/looks/{on}"): CLINICAL,
    ("POST", "/patients/{code}/eyes/{eye}/looks/{on}"): ONLY_SURGEON,
    # the sheet
    ("POST", "/plans/{plan}/sheets"): CLINICAL,
    ("GET", "/plans/{plan}/preview"): CLINICAL,
    ("GET", "/plans/{plan}/pages/{number}.png"): CLINICAL,
    ("POST", "/sheets/{sheet}/taught"): FRONT,
    ("GET", "/sheets/{sheet}"): FRONT,
    ("GET", "/sheets/{sheet}/paper.pdf"): FRONT,
    ("GET", "/sheets/{sheet}/phone.html"): FRONT,
    ("POST", "/sheets/{sheet}/handed-over"): FRONT,
    # reception
    ("GET", "/today"): FRONT,
    ("GET", "/to-reach"): FRONT,
    ("POST", "/find"): FRONT,
    ("POST", "/photo"): FRONT,
    ("GET", "/found/{sheet}"): FRONT,
    ("GET", "/today/list"): FRONT,
    ("GET", "/patients/{code}/call"): FRONT,
    ("POST", "/patients/{code}/call"): FRONT,
    ("POST", "/patients/{code}/walk-in"): FRONT,
    ("POST", "/patients/{code}/take-back"): FRONT,
    ("POST", "/patients/{code}/following"): FRONT,
    ("POST", "/patients/{code}/messages"): DESKS,
    ("GET", "/not-followed"): FRONT,
    ("GET", "/calls"): FRONT,
    ("GET", "/trips/{trip}/move"): FRONT,
    ("POST", "/trips/{trip}/move"): FRONT,
    ("POST", "/trips/{trip}/book"): FRONT,
    ("POST", "/trips/{trip}/arrived"): ONLY_RECEPTION,
    ("POST", "/trips/{trip}/no-show"): ONLY_RECEPTION,
    ("POST", "/trips/{trip}/left"): FRONT,
    ("POST", "/trips/{trip}/seen"): CLINICAL,
    ("POST", "/patients/{code}/leaving"): CLINICAL,
    ("POST", "/patients/{code}/alerts/{alert}/close"): CLINICAL,
    # pharmacy and manager
    ("GET", "/bottles"): STORE,
    ("POST", "/bottles"): STORE,
    ("GET", "/forecast"): ONLY_MANAGER,
    ("GET", "/outcomes"): OVERVIEW,
    ("GET", "/messages"): ONLY_MANAGER,
    ("POST", "/messages/{message}/again"): ONLY_MANAGER,
    ("GET", "/calendar"): ONLY_MANAGER,
    ("POST", "/calendar"): ONLY_MANAGER,
    # the people who work here
    ("GET", "/staff"): ONLY_MANAGER,
    ("POST", "/staff"): ONLY_MANAGER,
    ("POST", "/staff/{login}"): ONLY_MANAGER,
    # the same for programs
    ("GET", "/api"): STAFF,
    ("GET", "/api/openapi.json"): STAFF,
    ("POST", "/api/session"): ANYONE,
    ("GET", "/api/session"): STAFF,
    ("DELETE", "/api/session"): STAFF,
    ("PUT", "/api/session/password"): STAFF,
    ("GET", "/api/protocol"): STAFF,
    ("POST", "/api/protocol/sign"): ONLY_SURGEON,
    ("GET", "/api/operations"): CLINICAL,
    ("PUT", "/api/operations"): CLINICAL,
    ("POST", "/api/operations"): CLINICAL,
    ("POST", "/api/operations/sheets"): CLINICAL,
    ("GET", "/api/operations/sheets.pdf"): CLINICAL,
    ("POST", "/api/records/preview"): CLINICAL,
    ("POST", "/api/records"): CLINICAL,
    ("GET", "/api/patients/{code}/record"): CLINICAL,
    ("PUT", "/api/patients/{code}/record"): CLINICAL,
    ("GET", "/api/plans/waiting"): ONLY_SURGEON,
    ("POST", "/api/plans/sign"): ONLY_SURGEON,
    ("GET", "/api/plans/{plan}"): CLINICAL,
    ("POST", "/api/plans/{plan}/again"): CLINICAL,
    ("POST", "/api/plans/{plan}/answers"): ONLY_SURGEON,
    ("POST", "/api/plans/{plan}/decisions"): ONLY_SURGEON,
    ("POST", "/api/plans/{plan}/decisions/take-back"): ONLY_SURGEON,
    ("POST", "/api/plans/{plan}/sign"): ONLY_SURGEON,
    ("POST", "/api/plans/{plan}/steps/effect"): ONLY_SURGEON,
    ("POST", "/api/plans/{plan}/steps"): ONLY_SURGEON,
    ("POST", "/api/plans/{plan}/take-back"): ONLY_SURGEON,
    ("GET", "/api/plans/{plan}/against/{other}"): CLINICAL,
    ("GET", "/api/my-patients"): ONLY_SURGEON,
    ("POST", "/api/patients/{code}/standing"): ONLY_SURGEON,
    ("GET", "/api/patients/{code}/eyes/{eye}"): CLINICAL,
    ("POST", "/api/patients/{code}/eyes/{eye}/findings"): CLINICAL,
    ("GET", "/api/patients/{code}/eyes/{eye}/looks/{on}"): CLINICAL,
    ("POST", "/api/patients/{code}/eyes/{eye}/looks/{on}/effect"): ONLY_SURGEON,
    ("POST", "/api/patients/{code}/eyes/{eye}/looks/{on}/take"): ONLY_SURGEON,
    ("POST", "/api/patients/{code}/eyes/{eye}/looks/{on}/refuse"): ONLY_SURGEON,
    ("GET", "/api/plans/{plan}/draft.pdf"): CLINICAL,
    ("POST", "/api/plans/{plan}/sheets"): CLINICAL,
    ("GET", "/api/sheets/{sheet}"): FRONT,
    ("GET", "/api/sheets/{sheet}/paper.pdf"): FRONT,
    ("GET", "/api/sheets/{sheet}/phone.html"): FRONT,
    ("POST", "/api/sheets/{sheet}/taught"): FRONT,
    ("POST", "/api/sheets/{sheet}/handed-over"): FRONT,
    ("GET", "/api/find"): FRONT,
    ("POST", "/api/photo"): FRONT,
    ("GET", "/api/patients/{code}"): FRONT,
    ("GET", "/api/visits"): FRONT,
    ("POST", "/api/visits/{trip}/arrived"): ONLY_RECEPTION,
    ("POST", "/api/visits/{trip}/no-show"): ONLY_RECEPTION,
    ("POST", "/api/visits/{trip}/left"): FRONT,
    ("POST", "/api/visits/{trip}/seen"): CLINICAL,
    ("GET", "/api/alerts"): FRONT,
    ("POST", "/api/patients/{code}/alerts/{alert}/close"): CLINICAL,
    ("GET", "/api/leaving"): CLINICAL,
    ("POST", "/api/patients/{code}/leaving"): CLINICAL,
    ("POST", "/api/visits/{trip}/book"): FRONT,
    ("GET", "/api/visits/{trip}/days"): FRONT,
    ("POST", "/api/visits/{trip}/move"): FRONT,
    ("POST", "/api/patients/{code}/walk-in"): FRONT,
    ("GET", "/api/to-reach"): FRONT,
    ("GET", "/api/patients/{code}/call"): FRONT,
    ("POST", "/api/patients/{code}/attempts"): FRONT,
    ("GET", "/api/patients/{code}/messages"): FRONT,
    ("PUT", "/api/patients/{code}/messages"): DESKS,
    ("DELETE", "/api/patients/{code}/messages"): DESKS,
    ("POST", "/api/patients/{code}/following"): FRONT,
    ("POST", "/api/patients/{code}/take-back"): FRONT,
    ("GET", "/api/not-followed"): FRONT,
    ("GET", "/api/calls"): FRONT,
    ("GET", "/api/bottles"): STORE,
    ("POST", "/api/bottles/counts"): STORE,
    ("GET", "/api/forecast"): ONLY_MANAGER,
    ("GET", "/api/outcomes"): OVERVIEW,
    ("GET", "/api/calendar"): ONLY_MANAGER,
    ("PUT", "/api/calendar"): ONLY_MANAGER,
    ("GET", "/api/messages"): ONLY_MANAGER,
    ("POST", "/api/messages/{message}/again"): ONLY_MANAGER,
    ("GET", "/api/staff"): ONLY_MANAGER,
    ("POST", "/api/staff"): ONLY_MANAGER,
    ("PUT", "/api/staff/{login}"): ONLY_MANAGER,
}


def may(roles: frozenset[str], method: str, path: str) -> bool:
    """Whether someone with ``roles`` may call the route; unknown routes are closed."""
    allowed = TABLE.get((method, path), frozenset())
    return "anonymous" in allowed or bool(roles & allowed)
