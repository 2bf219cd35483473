"""Pages: Jinja2 templates with the visit around them, escaped, in the staff's language."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache, partial
from typing import Any, NamedTuple

from fastapi import Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from followup import resources
from followup.care.danger import SIGNS
from followup.care.trips.trip_lines import kind_words
from followup.clinical.words.differences_told import step_told
from followup.clinical.words.why_reasons import because_of, here_words, origin_words
from followup.desks.door.hand import DeskHand, hand_of
from followup.desks.door.permissions import COUNSELLOR, MANAGER, PHARMACY, RECEPTION, SURGEON, may
from followup.desks.page.notices import notices_of
from followup.desks.words import texts as words
from followup.desks.words.answers import answers_to
from followup.desks.words.days import day_box
from followup.drawings.staircase import Staircase, build_staircase
from followup.drawings.staircase_svg import staircase_svg
from followup.language.catalogues import N_, offered
from followup.language.direction import without_marks
from followup.records.desk.alerts import Alert, alerts_of_code


class StripPlace(NamedTuple):
    """A desk's place, as it stands in the strip."""

    url: str
    title: str
    here: bool


# The strip: where a desk's pages lie, what they are called, and whose they are.
PLACES: tuple[tuple[str, str, str], ...] = (
    ("/waiting", N_("Plans to sign"), SURGEON),
    ("/my-patients", N_("My patients"), SURGEON),
    ("/operations", N_("Operations"), COUNSELLOR),
    ("/today", N_("Today's visits"), RECEPTION),
    ("/to-reach", N_("To reach today"), RECEPTION),
    ("/bottles", N_("Bottles"), PHARMACY),
    ("/forecast", N_("Visits ahead"), MANAGER),
    ("/outcomes", N_("Outcomes"), MANAGER),
    ("/messages", N_("Messages"), MANAGER),
    ("/calendar", N_("Calendar"), MANAGER),
    ("/staff", N_("Staff"), MANAGER),
    ("/protocol", N_("Protocol"), ""),
)
_DESKS = {url.strip("/"): desk for url, _title, desk in PLACES}
_DESKS |= dict.fromkeys(("calls", "not-followed", "find", "found", "trips"), RECEPTION)
FIRST_PAGES = ("/waiting", "/operations", "/today", "/forecast", "/bottles", "/protocol")
_ORDER = (SURGEON, COUNSELLOR, RECEPTION, PHARMACY, MANAGER)


@lru_cache(maxsize=16)
def environment(language: str, year: int | None = None) -> Environment:
    """The templates in one language; no day says ``year``. Undefined names are errors, never blanks."""
    env = Environment(
        loader=FileSystemLoader(resources.folder("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        extensions=["jinja2.ext.i18n"],
        trim_blocks=True,
        lstrip_blocks=True,
    )
    # No page lets anything through as markup: a template that would is refused.
    del env.filters["safe"]
    env.policies["ext.i18n.trimmed"] = True
    texts = words.Texts(language, year)
    env.globals |= {"comma": texts.comma, "staircase": _staircase}
    env.install_gettext_callables(texts.gettext, texts.ngettext, newstyle=True)  # type: ignore[attr-defined]
    env.filters |= {
        "day": texts.day,
        "whole_day": texts.whole_day,
        "short_day": texts.short_day,
        "month": texts.month,
        "short_month": texts.short_month,
        "row_days": texts.row_days,
        "moment": texts.moment,
        "clock": texts.clock,
        "choice": texts.choice,
        "eye": texts.eye,
        "eyes": texts.eyes,
        "label": texts.label,
        "hint": texts.hint,
        "role": texts.role,
        "plan_state": texts.plan_state,
        "trip_state": texts.trip_state,
        "step": partial(step_told, words=texts),
        "told": texts.told,
        "reason": texts.reason,
        "service": texts.service,
        "found": texts.found,
        "upright": texts.upright,
        "apart": texts.apart,
        "language_name": words.language_name,
        "numbers_apart": words.numbers_apart,
    }
    return env


def _staircase(model: Staircase, size: str, label: str = "") -> Markup:
    return Markup(staircase_svg(model, size, str(label)))  # noqa: S704 - its label is escaped


def show(request: Request, template: str, *, status: int = 200, **context: Any) -> HTMLResponse:
    """The page ``template``. ``context`` must give every name that the template uses."""
    hand = hand_of(request)
    who = context.get("who")
    html = (
        environment(hand.language, hand.today.year)
        .get_template(f"desks/{template}")
        .render(
            **around(hand, request.url.path),
            this_page=_this_page(request, hand, status),
            hand=hand,
            alerts=_alerts(hand, who.code if who else ""),
            **context,
        )
    )
    return HTMLResponse(html, status, headers={"content-language": hand.language})


def around(hand: DeskHand, path: str) -> dict[str, Any]:
    """What stands on every page: the clinic, its day, who is here and where they may go."""
    texts = hand.texts
    return {
        "clinic": hand.clinic,
        "today": hand.today,
        "staff": hand.login.staff if hand.login else None,
        "signature": hand.signature,
        "language": hand.language,
        "draw": partial(build_staircase, today=hand.today, mirrored=texts.runs_left),
        "kind_words": lambda kind: texts.told(kind_words(hand, kind)),
        "day_boxed": lambda value, lean: day_box(value, hand.today, texts, lean),
        "answers_to": partial(answers_to, texts, hand.protocol.formulary),
        "because_of": because_of,
        "here_words": here_words,
        "origin_words": origin_words,
        "direction": texts.direction,
        "page_languages": [(spoken.tag, spoken.native) for spoken in offered("desk")],
        "alert_signs": SIGNS,
        "places": list(_places(hand, path)),
        "notices": notices_of(hand) if hand.login and path == first_page_of(hand.roles) else None,
    }


def first_page_of(roles: frozenset[str]) -> str:
    """Where somebody with these roles begins."""
    return next((url for url in FIRST_PAGES if may(roles, "GET", url)), FIRST_PAGES[-1])


def _this_page(request: Request, hand: DeskHand, status: int) -> str:
    """The address that shows this page again; the first page where only a form leads to it, or nothing is."""
    if status == 404:
        return "/"
    if request.method == "GET":
        return request.url.path + (f"?{request.url.query}" if request.url.query else "")
    route = request.scope.get("route")
    return request.url.path if route and may(hand.roles, "GET", route.path) else "/"


def _alerts(hand: DeskHand, code: str) -> tuple[Alert, ...]:
    """What stands open of the patient whose page it is; on every one of them."""
    if not code or hand.login is None:
        return ()
    with hand.store.read() as session:
        return alerts_of_code(session, code)


def _places(hand: DeskHand, path: str) -> Iterator[StripPlace]:
    for url, title, _desk in PLACES:
        if hand.login and may(hand.roles, "GET", url):
            yield StripPlace(url, title, path == url)
    if hand.login:
        yield StripPlace(f"/help/{desk_of(path, hand.roles)}", N_("Help"), path.startswith("/help"))


def desk_of(path: str, roles: frozenset[str]) -> str:
    """Whose desk a page belongs to; one that several use counts as that of whoever looks at it."""
    place = path.split("/")[1]
    return _DESKS.get(place) or next(role for role in (*_ORDER, *sorted(roles)) if role in roles)


def go(url: str) -> RedirectResponse:
    """On to another page after something was stored, so that a reload repeats nothing."""
    return RedirectResponse(url, status_code=303)


def pdf_answer(content: bytes, name: str) -> Response:
    """``name`` as the file's name: without the marks that keep a code whole in text from right to left,
    which no header can carry."""
    plain = without_marks(name)
    return Response(
        content,
        media_type="application/pdf",
        headers={"content-disposition": f'inline; filename="{plain}.pdf"'},
    )
