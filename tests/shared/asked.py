"""Every route that names a patient, plan, visit, sheet, message or colleague, asked as its page asks it."""

from __future__ import annotations

import re
from typing import Any

from doors import WHO_MAY
from two_sites import PASSWORD

KEY = "n" * 20
STEPS = {"course": "right:steroid", "starts": "2027-03-09", "reason": "more cells"}
LOOK = {"eye": "right", "date": "2027-03-08", "pressure": 20}
# What is not there: it is asked for in the same words, and must be answered in the same words.
NOWHERE = {
    "N-1": "X-1",
    "N-2": "X-2",
    "N-3": "X-3",
    "plan": "999999",
    "draft": "999998",
    "sheet": "0000000000",
    "first": "999997",
    "week": "999996",
    "last": "999995",
    "walk-in": "999994",
    "alert": "999993",
    "message": "999992",
    "staff": "nobody-here",
}

# Every route that names one patient, plan, visit, sheet, message or colleague, asked as its page asks it.
# ``{N-1}`` and the like stand for what is at the hill. The route's own name for a part is its place.
PAGES: list[tuple[str, str, dict[str, Any] | None]] = [
    ("GET", "/patients/{N-1}", None),
    ("GET", "/patients/{N-1}/record", None),
    ("POST", "/patients/{N-1}/record", {"seen": "1", "look": "yes"}),
    ("GET", "/patients/{N-1}/eyes/right", None),
    ("POST", "/patients/{N-1}/eyes/right/findings", {"reviews.0.pressure": "20", "seen": "2"}),
    ("GET", "/patients/{N-1}/eyes/right/looks/2027-03-08", None),
    ("POST", "/patients/{N-1}/eyes/right/looks/2027-03-08", {"refuse": "yes", "reason": "wait"}),
    ("GET", "/patients/{N-1}/call", None),
    ("GET", "/patients/{N-1}/fhir.json", None),
    ("GET", "/patients/{N-1}/visits.ics", None),
    ("POST", "/patients/{N-1}/call", {"way": "call", "outcome": "no answer", "nonce": KEY}),
    ("POST", "/patients/{N-1}/walk-in", {f"sign.{i}": "no" for i in range(4)} | {"why": "x", "nonce": KEY}),
    ("POST", "/patients/{N-2}/take-back", {"entry": "{noted}"}),
    ("POST", "/patients/{N-1}/following", {"standing": "died", "reason": "heard it"}),
    ("POST", "/patients/{N-1}/standing", {"standing": "refused", "reason": "said so"}),
    ("POST", "/patients/{N-1}/messages", {"answer": "yes", "channel": "paper"}),
    ("POST", "/patients/{N-3}/leaving", {"key": "right:pressure", "mmhg": "20"}),
    ("POST", "/patients/{N-2}/alerts/{alert}/close", {"word": "looked at"}),
    ("GET", "/plans/{plan}", None),
    ("GET", "/plans/{plan}/against/{plan}", None),
    ("GET", "/plans/{plan}/steps?course=right:steroid", None),
    ("POST", "/plans/{plan}/steps", {**STEPS, "count": "8", "days": "7", "store": "yes"}),
    ("POST", "/plans/{plan}/again", {}),
    ("POST", "/plans/{draft}/answers", {"seen": "1"}),
    ("POST", "/plans/{draft}/take-back", {"change": "1"}),
    ("POST", "/plans/{draft}/decisions", {"need": "right:first-look", "day": "none", "why": "so it is"}),
    ("POST", "/plans/{draft}/decisions/take-back", {"need": "right:first-look", "day": "none"}),
    ("POST", "/plans/{draft}/sign", {"password": PASSWORD}),
    ("POST", "/plans/{plan}/end", {"end_reason": "moved"}),
    ("GET", "/plans/{plan}/draft.pdf", None),
    ("GET", "/plans/{plan}/preview", None),
    ("GET", "/plans/{plan}/pages/1.png", None),
    ("POST", "/plans/{plan}/sheets", {"issue": "1", "reason": "lost"}),
    ("GET", "/sheets/{sheet}", None),
    ("GET", "/sheets/{sheet}/paper.pdf", None),
    ("GET", "/sheets/{sheet}/phone.html", None),
    ("POST", "/sheets/{sheet}/taught", {"shown": "0"}),
    ("POST", "/sheets/{sheet}/handed-over", {"to": "her son", "how": "paper"}),
    ("GET", "/found/{sheet}", None),
    ("GET", "/trips/{last}/move", None),
    ("POST", "/trips/{last}/move", {"day": "2027-04-01"}),
    ("POST", "/trips/{last}/book", {}),
    ("POST", "/trips/{week}/arrived", {"nonce": KEY}),
    ("POST", "/trips/{first}/no-show", {}),
    ("POST", "/trips/{walk-in}/left", {}),
    ("POST", "/trips/{walk-in}/seen", {"nothing": "yes"}),
    ("POST", "/bottles/{N-1}/given", {"plan": "{plan}", "bottle": "right:steroid 1"}),
    ("POST", "/bottles/{N-1}/take-back", {"entry": "{noted}"}),
    ("POST", "/messages/{message}/again", {}),
    ("POST", "/staff/{staff}", {"roles": "reception", "active": "yes", "password": PASSWORD}),
    ("POST", "/roles/{asked}", {"grant": "yes", "password": PASSWORD}),
    ("POST", "/sessions/{session}/end", {}),
]
FOR_PROGRAMS: list[tuple[str, str, dict[str, Any] | None]] = [
    ("GET", "/api/patients/{N-1}", None),
    ("GET", "/api/patients/{N-1}/record", None),
    ("PUT", "/api/patients/{N-1}/record", {"seen": 2, "record": "{record}"}),
    ("GET", "/api/patients/{N-1}/eyes/right", None),
    ("POST", "/api/patients/{N-1}/eyes/right/findings", {"seen": 2, "look": LOOK}),
    ("GET", "/api/patients/{N-1}/eyes/right/looks/2027-03-08", None),
    (
        "POST",
        "/api/patients/{N-1}/eyes/right/looks/2027-03-08/effect",
        {"take": ["{take}"], "reason": "as proposed", "seen": "{seen}"},
    ),
    (
        "POST",
        "/api/patients/{N-1}/eyes/right/looks/2027-03-08/take",
        {"take": ["{take}"], "reason": "as proposed", "seen": "{seen}"},
    ),
    ("POST", "/api/patients/{N-1}/eyes/right/looks/2027-03-08/go-on", None),
    ("POST", "/api/patients/{N-1}/eyes/right/looks/2027-03-08/refuse", {"reason": "wait"}),
    ("GET", "/api/patients/{N-1}/call", None),
    ("GET", "/api/patients/{N-1}/fhir", None),
    ("GET", "/api/patients/{N-1}/visits.ics", None),
    ("POST", "/api/patients/{N-1}/attempts", {"nonce": KEY, "way": "call", "outcome": "no answer"}),
    ("POST", "/api/patients/{N-1}/walk-in", {"nonce": KEY, "signs": ["pain"]}),
    ("POST", "/api/patients/{N-2}/take-back", {"entry": "{noted}"}),
    ("POST", "/api/patients/{N-1}/following", {"standing": "died", "reason": "heard it"}),
    ("POST", "/api/patients/{N-1}/standing", {"standing": "refused", "reason": "said so"}),
    ("GET", "/api/patients/{N-1}/messages", None),
    ("PUT", "/api/patients/{N-1}/messages", {"consent": True}),
    ("DELETE", "/api/patients/{N-1}/messages", None),
    ("POST", "/api/patients/{N-3}/leaving", {"key": "right:pressure", "mmhg": 20.0}),
    ("POST", "/api/patients/{N-2}/alerts/{alert}/close", {"word": "looked at"}),
    ("GET", "/api/plans/{plan}", None),
    ("GET", "/api/plans/{plan}/against/{plan}", None),
    ("POST", "/api/plans/{plan}/steps/effect", {**STEPS, "steps": [{"times_a_day": 8, "days": 7}]}),
    ("POST", "/api/plans/{plan}/steps", {**STEPS, "steps": [{"times_a_day": 8, "days": 7}]}),
    ("POST", "/api/plans/{draft}/take-back", {"change": 1}),
    ("POST", "/api/plans/{plan}/again", None),
    ("POST", "/api/plans/{draft}/answers", {"seen": 1, "answers": {"patient.sex": ["female"]}}),
    ("POST", "/api/plans/{draft}/decisions", {"seen": 1, "need": "right:first-look", "why": "so it is"}),
    ("POST", "/api/plans/{draft}/decisions/take-back", {"seen": 1, "need": "right:first-look"}),
    ("POST", "/api/plans/{draft}/sign", {"password": PASSWORD}),
    ("POST", "/api/plans/{plan}/end", {"reason": "moved"}),
    ("GET", "/api/plans/{plan}/draft.pdf", None),
    ("POST", "/api/plans/{plan}/sheets", {"printed": 1, "reason": "lost"}),
    ("GET", "/api/sheets/{sheet}", None),
    ("GET", "/api/sheets/{sheet}/paper.pdf", None),
    ("GET", "/api/sheets/{sheet}/phone.html", None),
    ("POST", "/api/sheets/{sheet}/taught", {"shown": [0]}),
    ("POST", "/api/sheets/{sheet}/handed-over", {"to": "her son"}),
    ("POST", "/api/visits/{week}/arrived", {"nonce": KEY}),
    ("POST", "/api/visits/{first}/no-show", None),
    ("POST", "/api/visits/{walk-in}/left", None),
    ("POST", "/api/visits/{walk-in}/seen", {"served": [], "nothing": True}),
    ("POST", "/api/visits/{last}/book", None),
    ("GET", "/api/visits/{last}/days", None),
    ("POST", "/api/visits/{last}/move", {"day": "2027-04-01"}),
    ("POST", "/api/bottles/{N-1}/given", {"plan": "{plan}", "bottles": ["right:steroid 1"]}),
    ("POST", "/api/bottles/{N-1}/take-back", {"entry": "{noted}"}),
    ("POST", "/api/messages/{message}/again", None),
    ("GET", "/api/patients/{N-1}/openings", None),
    ("GET", "/api/patients/{N-1}/erasing", None),
    ("POST", "/api/patients/{N-1}/erasing", {"password": PASSWORD}),
    ("PUT", "/api/staff/{staff}", {"roles": ["reception"], "active": True, "password": PASSWORD}),
    ("POST", "/api/roles/{asked}", {"grant": True, "password": PASSWORD}),
    ("DELETE", "/api/sessions/{session}", None),
]
ASKED = [*PAGES, *FOR_PROGRAMS]


def names_of(scene) -> dict[str, Any]:
    """What is at the hill, by the names of the tables above."""
    ids = scene.ids
    first, week, last = ids["visits N-1"]
    return {
        **{code: code for code in ("N-1", "N-2", "N-3")},
        **{"plan": ids["plan N-1"], "draft": ids["plan N-3"], "sheet": ids["sheet N-1"]},
        **{"first": first, "week": week, "last": last, "walk-in": ids["walk-in"]},
        **{name: ids[name] for name in ("alert", "message", "take", "seen", "asked", "session")},
        **{"noted": ids["noted N-2"], "staff": "hill-desk", "record": ids["record"]},
    }


def _filled(given: Any, names: dict[str, Any]) -> Any:
    if isinstance(given, dict):
        return {key: _filled(value, names) for key, value in given.items()}
    if isinstance(given, list):
        return [_filled(value, names) for value in given]
    if isinstance(given, str) and (whole := re.fullmatch(r"{([\w-]+)}", given)):
        return names[whole[1]]
    if isinstance(given, str):
        return re.sub(r"{([\w-]+)}", lambda part: str(names[part[1]]), given)
    return given


def send(scene, login: str, asked, names: dict[str, Any]):
    method, path, sent = asked
    kind = "json" if path.startswith("/api/") else "data"
    # What is sent is that of the hill, also where the address is of nothing.
    body = None if sent is None else _filled(sent, names_of(scene))
    return scene.browser(login).request(method, _filled(path, names), **{kind: body})


def route_of(asked) -> tuple[str, str]:
    """The route of the table that a request is for."""
    method, path = asked[0], asked[1].partition("?")[0]
    found = [
        route
        for route in WHO_MAY
        if route[0] == method and re.fullmatch(re.sub(r"{\w+}", "[^/]+", route[1]), path)
    ]
    # "/api/plans/waiting" fits "/api/plans/{plan}" too; the fixed one comes first.
    return min(found, key=lambda route: route[1].count("{"))


def line_of(asked) -> str:
    """How a test of this request is named."""
    return f"{asked[0]} {asked[1]}"
