"""Sheets chosen so that together they reach every part of the layouts, as the layouts read them.

Each is small: what repeats is cut short. Whatever a sheet of a plan has not got is put into it by hand.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import two_eyes

from followup.clinical.formulary import Medicine
from followup.sheets.content import SheetOptions
from followup.sheets.cover import cover, cover_line
from followup.sheets.model import CoverProblem, Section, SheetContent
from followup.sheets.pdf import cover_data, job, sheet_data
from followup.language.catalogues import translator

Formulary = Mapping[str, Medicine]
Job = dict[str, Any]


def _cut(content: SheetContent, **kept: int) -> SheetContent:
    """The first few of what there is many of, in both languages of a sheet."""
    changes: dict[str, Any] = {name: getattr(content, name)[:count] for name, count in kept.items() if name != "days"}
    if content.calendar and "days" in kept:
        changes["calendar"] = content.calendar.model_copy(update={"days": content.calendar.days[: kept["days"]]})
    if content.twin:
        changes["twin"] = _cut(content.twin, **kept)
    return content.model_copy(update=changes)


def _set(*contents: SheetContent, tight: int = 0, whole: bool = True, **more: Any) -> Job:
    sheets = [sheet_data(content) | {"tight": tight, "whole": whole} for content in contents]
    return job(sheets, two_eyes.LEFT_DONE, **more)


def _few(formulary: Formulary, rounds: int = 2, days: int = 0, **given: Any) -> SheetContent:
    """The sheet of two eyes with few of its rounds, days and sections."""
    options = replace(given.pop("options", SheetOptions()), calendar=bool(days))
    content = two_eyes.content(dict(formulary), options=options, **given)
    return _cut(content, rounds=rounds, days=days, sections=1, bottles=3)


def two_eyes_in_words(formulary: Formulary) -> Job:
    content = two_eyes.content(dict(formulary))
    return _set(_cut(content, days=9))


def pictures(formulary: Formulary) -> Job:
    clinic = replace(two_eyes.CLINIC, cap_colours=True)
    content = _few(formulary, options=SheetOptions(pictures=True), clinic=clinic)
    return _set(_cut(content, bottles=8).model_copy(update={"sections": two_eyes.content(dict(formulary), options=SheetOptions(pictures=True)).sections[2:]}))


def bottles_of_every_kind(formulary: Formulary) -> Job:
    content = _few(formulary, rounds=1, options=SheetOptions(pictures=True))
    one = content.bottles[0]
    caps = ("pink", "tan", "grey", "red", "dark green", "yellow", "purple", "orange", "turquoise", "dark blue", None)
    kinds, sides = ("drop", "ointment", "tablet"), ("left", "right", None)
    letters = ("S", "N", "A2", "C", "P", "L", "H", "V", "T", "X", "S")
    drawn = tuple(
        one.model_copy(update={"bottle": one.bottle.model_copy(update={
            "letter": letter, "kind": kinds[at // 4 if at < 9 else 0], "side": sides[at % 3], "cap": cap,
        })})
        for at, (letter, cap) in enumerate(zip(letters, caps, strict=True))
    )
    return _set(content.model_copy(update={"bottles": drawn, "rounds": ()}))


def draft_on_small_paper(formulary: Formulary) -> Job:
    clinic = replace(two_eyes.CLINIC, sample=True)
    options = SheetOptions(paper="A5")
    return _set(_few(formulary, issue=None, clinic=clinic, plan=two_eyes.plan(approved=False), options=options))


def large_print(formulary: Formulary) -> Job:
    return _set(_few(formulary, options=SheetOptions(size="large", paper="Letter"), days=3))


def small_paper_in_pictures(formulary: Formulary) -> Job:
    return _set(_few(formulary, rounds=1, options=SheetOptions(paper="A5", pictures=True)))


def large_print_on_small_paper(formulary: Formulary) -> Job:
    return _set(_few(formulary, rounds=1, days=3, options=SheetOptions(paper="A5", size="large")), tight=1)


def two_languages(formulary: Formulary) -> Job:
    return _set(_few(formulary, days=3, language="bn", options=SheetOptions(twin="en", native_digits=True)))


def two_languages_in_pictures(formulary: Formulary) -> Job:
    return _set(_few(formulary, rounds=1, language="hi", options=SheetOptions(twin="ar", pictures=True)), tight=1)


def two_languages_closer(formulary: Formulary) -> Job:
    return _set(_few(formulary, rounds=1, language="ar", options=SheetOptions(twin="en")), tight=2)


def two_languages_closest(formulary: Formulary) -> Job:
    return _set(_few(formulary, rounds=1, language="ta", options=SheetOptions(twin="ur", paper="A5", size="large")), tight=3, whole=False)


def from_right_to_left(formulary: Formulary) -> Job:
    return _set(_few(formulary, language="ar", days=3))


def from_right_to_left_in_pictures(formulary: Formulary) -> Job:
    return _set(_few(formulary, rounds=1, language="ur", options=SheetOptions(pictures=True)))


def long_words(formulary: Formulary) -> Job:
    return _set(_few(formulary, language="ta", days=3))


def next_to_nothing(formulary: Formulary) -> Job:
    """What a sheet has when everything that may be absent is."""
    plan = two_eyes.plan(courses=(), rounds=(), supply=(), trips=(), before_leaving=(), cautions=())
    content = two_eyes.content(dict(formulary), plan=plan, previous=None, issue=replace(two_eyes.ISSUE, replaces=None),
        clinic=replace(two_eyes.CLINIC, nearest_eye_clinic=None, address=None), options=SheetOptions(calendar=False))
    return _set(content.model_copy(update={"allergies": None, "before_leaving": None, "held": None}))


def a_days_batch(formulary: Formulary) -> Job:
    """Sheets behind their cover, printed on both sides; two could not be made."""
    tell = translator("en")
    sheets = [next_to_nothing(formulary)["sheets"][0], next_to_nothing(formulary)["sheets"][0]]
    lines = tuple(cover_line(tell, f"Person Number{i}", f"P-{i}", "Left eye", "العربية", 3) for i in range(40))
    problems = (
        CoverProblem(name="P-90", reason="the drawn eye is the other one", language="en", direction="ltr"),
        CoverProblem(name="P-91", reason="العين", language="ar", direction="rtl"),
    )
    front = cover_data(cover(tell, two_eyes.LEFT_DONE, lines, problems), "A4")
    return job(sheets, two_eyes.LEFT_DONE, cover=front, duplex=True)


# ---- what must be refused -----------------------------------------------------------------------------
def _only_four(plain: SheetContent, at: int, many: str) -> Job:
    """This sign fills the page and ends on the next, and only the first four have to stand on one."""
    longer = plain.alarm.signs[at].model_copy(update={"words": many})
    signs = (*plain.alarm.signs[:at], longer, *plain.alarm.signs[at + 1 :])
    return _set(plain.model_copy(update={"alarm": plain.alarm.model_copy(update={"signs": signs})}), whole=False)


def refused(formulary: Formulary) -> dict[str, Job]:
    """Sheets that must not come out, each by what is wrong with it."""
    plain = two_eyes.content(dict(formulary), options=SheetOptions(calendar=False))
    drawn = two_eyes.content(dict(formulary), options=SheetOptions(calendar=False, pictures=True))
    clinic, alarm, (block, *_) = plain.clinic, plain.alarm, plain.bottles
    line, wide, many = block.lines[0], "W" * 60, "so many words that they fill a page " * 60
    few = alarm.signs[:4]
    longer = tuple(sign.model_copy(update={"words": f"{sign.words} {many if at > 4 else ''}"}) for at, sign in enumerate(alarm.signs))

    def told(**changes: Any) -> Job:
        return _set(plain.model_copy(update=changes))

    def of_bottle(**changes: str) -> Job:
        changed = block.model_copy(update={"lines": (line.model_copy(update=changes),)})
        return _set(plain.model_copy(update={"bottles": (changed,)}))

    return {
        "a telephone on page two": told(clinic=clinic.model_copy(update={"telephones": clinic.telephones * 40})),
        "the eye on page two": told(clinic=clinic.model_copy(update={"telephones": (), "name": many * 3})),
        "a date on page two": told(dated=plain.dated * 60),
        "the signs on page two": told(first_line=many),
        "a later sign on page two": told(alarm=alarm.model_copy(update={"signs": longer})),
        "the fourth sign on page two, though later ones may stand there": _only_four(plain, 3, many),
        "the fifth sign on page two, where it may stand": _only_four(plain, 4, many),
        "what to do on page two": told(alarm=alarm.model_copy(update={"signs": few, "action": many})),
        "a name wider than its place": told(who=plain.who.model_copy(update={"name": wide})),
        "a word wider than the page": told(teach_back=plain.teach_back, steroid_ends=(wide * 2,)),
        "a dose wider than its column": of_bottle(dose="W" * 24),
        "a date wider than its column": of_bottle(dates="W" * 40),
        "a sign wider than the box": _set(drawn.model_copy(update={"alarm": alarm.model_copy(
            update={"signs": (few[0].model_copy(update={"words": wide}), *few[1:])})})),
    }  # fmt: skip


# ---- the protocol on paper ------------------------------------------------------------------------------
def _protocol(**more: Any) -> Job:
    lines = [{"name": f"Rule {at}", "says": ["Four drops a day.", "For a week."], "origin": "M" if at % 2 else ""} for at in range(12)]
    sections = [{"title": "Rules", "entries": lines}, {"title": "Medicines", "entries": lines[:6]}]
    return {
        "name": "Invented protocol", "version": "3", "country": "UK", "text": "Made up for the test.", "hash": "0123 4567",
        "notice": "Not approved.", "signed": False, "sections": sections,
    } | more  # fmt: skip


PROTOCOLS: dict[str, Job] = {
    "protocol_to_sign": _protocol(),
    "protocol_signed": _protocol(signed=True, notice="Signed by Dr Sen, R-1"),
}
_SHEETS: tuple[Callable[[Formulary], Job], ...] = (
    two_eyes_in_words, pictures, bottles_of_every_kind, draft_on_small_paper, large_print, small_paper_in_pictures,
    large_print_on_small_paper, two_languages, two_languages_in_pictures, two_languages_closer, two_languages_closest,
    from_right_to_left, from_right_to_left_in_pictures, long_words, next_to_nothing, a_days_batch,
)
BY_NAME: dict[str, Callable[[Formulary], Job]] = {make.__name__: make for make in _SHEETS}
