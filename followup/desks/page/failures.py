"""Every failure as a page: what is wrong, and what to do next."""

from __future__ import annotations

import logging
from urllib.parse import quote

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse
from starlette.exceptions import HTTPException

from followup.desks.door import problems
from followup.desks.door.guard import LoginNeededError, look_up
from followup.desks.door.origin import is_cross_site
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go, show
from followup.desks.page.posted import read_posted, to_keep
from followup.errors import ErrorLine, FollowupError
from followup.language.catalogues import N_
from followup.said import say
from followup.validation import problem_words

log = logging.getLogger(__name__)

_HEADINGS = {
    403: N_("Not allowed"),
    404: N_("Nothing here"),
    405: N_("Not this way"),
    409: N_("Changed meanwhile"),
    413: N_("Too large"),
    422: N_("Not stored"),
    503: N_("Not now"),
}
_BROKEN = """<!doctype html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1"><title>A fault of the program</title>
<link rel="stylesheet" href="/static/desk.css"></head><body><main><h1>A fault of the program</h1>
<div class="say bad"><p>Something went wrong inside the program. What you sent was not stored.</p></div>
<p>Go back and try once more. If it happens again, tell whoever looks after this computer the time it
happened; meanwhile work from the printed sheets.</p><p><a class="button" href="/">Go to my first page</a></p>
</main></body></html>"""


def install(app: FastAPI) -> None:
    """Attach the handlers."""
    app.add_exception_handler(LoginNeededError, _to_log_in)
    app.add_exception_handler(FollowupError, _refused)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _bad_request)
    app.add_exception_handler(Exception, _fault)


async def _to_log_in(request: Request, exc: Exception) -> Response:
    assert isinstance(exc, LoginNeededError)
    if _for_a_program(request):
        refused = FollowupError("login.needed", say("nobody is logged in"), fix=say("log in, then ask again"))
        return problems.answer(401, refused)
    if request.method == "GET":
        return go(f"/log-in?then={quote(exc.then, safe='/')}")
    try:
        kept = to_keep(await read_posted(request))
    except (FollowupError, HTTPException):
        kept = ()
    if kept and not is_cross_site(request.method, request.headers):
        error = say(
            "Log in first: you were away too long. Nothing was stored yet, and nothing typed is lost."
        )
        path = request.url.path
        shown = {"error": error, "then": path, "login": "", "kept": kept, "waits": False}
        return show(request, "log-in.html", status=401, **shown)
    return _page(
        request,
        401,
        N_("Log in first"),
        say("You are not logged in, or were away too long. Nothing was stored."),
        say(
            "Log in in another tab, then come back here and send again: what you typed is still in this page."
        ),
    )


def _refused(request: Request, exc: Exception) -> Response:
    assert isinstance(exc, FollowupError)
    status = status_of(exc)
    if status == 503:
        log.warning("refused for now: %s", _route(request), exc_info=exc)
    if _for_a_program(request):
        return problems.answer(status, exc)
    said = ErrorLine.of(exc.what, exc.where)
    return _page(request, status, _HEADINGS.get(status, _HEADINGS[422]), said, exc.fix)


def _http(request: Request, exc: Exception) -> Response:
    assert isinstance(exc, HTTPException)
    if _for_a_program(request):
        error = FollowupError("request.http", str(exc.detail), fix=say("read /api/openapi.json"))
        return problems.answer(exc.status_code, error)
    what = {
        404: say("There is no such page."),
        405: say("This page is not opened in this way."),
        413: say("This is larger than the program takes."),
    }.get(exc.status_code, say("The program could not read this request."))
    next_step = {
        404: say("Check the address, or look the patient up by name or code."),
        405: say("Open the page from the list and use its button."),
        413: say("Send one record, one list, or one photo of at most 12 MB at a time."),
    }.get(exc.status_code, say("Go back and try again."))
    heading = _HEADINGS.get(exc.status_code, _HEADINGS[422])
    return _page(request, exc.status_code, heading, what, next_step)


def _bad_request(request: Request, exc: Exception) -> Response:
    assert isinstance(exc, RequestValidationError)
    if _for_a_program(request):
        return problems.answer_fields(exc.errors())
    first = exc.errors()[0]
    field = ".".join(str(part) for part in first["loc"][1:])
    said = ErrorLine.of(problem_words(first), field)
    return _page(request, 422, _HEADINGS[422], said, say("Go back and correct this field."))


def _for_a_program(request: Request) -> bool:
    return request.url.path.startswith("/api/")


def _fault(request: Request, exc: Exception) -> Response:
    log.error("fault in %s", _route(request), exc_info=exc)
    if _for_a_program(request):
        fault = FollowupError(
            "program.fault", say("a fault of the program, nothing was stored"), fix=say("try again")
        )
        return problems.answer(500, fault)
    return HTMLResponse(_BROKEN, 500)


def _route(request: Request) -> str:
    """The address as the program knows it, without what somebody typed into it."""
    return f"{request.method} {getattr(request.scope.get('route'), 'path', 'an unknown address')}"


def _page(request: Request, status: int, heading: str, what: str, next_step: str) -> Response:
    if not hasattr(request.state, "hand"):
        try:
            request.state.hand = look_up(request)
        except FollowupError as exc:
            return HTMLResponse(
                _BROKEN.replace(say("Something went wrong inside the program."), exc.what), 503
            )
    return show(request, "error.html", status=status, heading=heading, what=what, next_step=next_step)
