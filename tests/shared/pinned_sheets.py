"""Sheets chosen so that together they reach every part of the layouts, as the layouts read them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from typing import Any

import two_eyes
from told_sheets import sheet as told

from followup.clinical.protocol.formulary import Medicine
from followup.language.catalogues import translator
from followup.sheets.content import SheetOptions
from followup.sheets.model import CoverProblem, SheetContent
from followup.sheets.paper.cover import cover, cover_line
from followup.sheets.paper.pdf import cover_data, job, sheet_data

Formulary = Mapping[str, Medicine]
Job = dict[str, Any]


def _set(*contents: SheetContent, close: bool = False, **more: Any) -> Job:
    sheets = [sheet_data(content) | {"close": close} for content in contents]
    return job(sheets, two_eyes.LEFT_DONE, **more)


def _two_eyes(formulary: Formulary, **given: Any) -> SheetContent:
    return two_eyes.content(dict(formulary), **given)


def two_eyes_in_words(formulary: Formulary) -> Job:
    """Its front goes on in comfortable letters: no back is set, since the leaf is set once more."""
    return _set(_two_eyes(formulary))


def two_eyes_on_a_full_leaf(formulary: Formulary) -> Job:
    return _set(_two_eyes(formulary), close=True)


def one_eye_with_stairs(formulary: Formulary) -> Job:
    return _set(told("01-wanjiru", "en"))


def rounds_told_in_words_and_tablets(formulary: Formulary) -> Job:
    return _set(told("04-peter", "en"), close=True)


def one_that_replaces_another(formulary: Formulary) -> Job:
    return _set(told("07-grace", "fr", replaced=True))


def pictures(formulary: Formulary) -> Job:
    clinic = replace(two_eyes.CLINIC, cap_colours=True)
    return _set(_two_eyes(formulary, options=SheetOptions(pictures=True), clinic=clinic), close=True)


def pictures_in_comfortable_letters(formulary: Formulary) -> Job:
    return _set(told("07-grace", "en", options=SheetOptions(pictures=True)))


def bottles_of_every_kind(formulary: Formulary) -> Job:
    content = _two_eyes(formulary, options=SheetOptions(pictures=True))
    one = content.bottles[0]
    caps = (
        *("pink", "tan", "grey", "red", "dark green", "yellow", "purple", "orange", "turquoise", "dark blue"),
        None,
    )
    kinds, sides = ("drop", "ointment", "tablet"), ("left", "right", None)
    letters = ("S", "N", "A2", "C", "P", "L", "H", "V", "T", "X", "S")
    drawn = tuple(
        one.model_copy(update={"lines": (), "notes": (), "bottle": one.bottle.model_copy(update={
            "name": f"Medicine {at}", "letter": letter, "kind": kinds[at // 4 if at < 9 else 0],
            "side": sides[at % 3], "cap": cap,
        })})
        for at, (letter, cap) in enumerate(zip(letters, caps, strict=True))
    )  # fmt: skip
    return _set(content.model_copy(update={"bottles": drawn}), close=True)


def draft_on_small_paper(formulary: Formulary) -> Job:
    clinic, plan = replace(two_eyes.CLINIC, sample=True), two_eyes.plan(approved=False)
    options = SheetOptions(paper="A5")
    return _set(_two_eyes(formulary, issue=None, clinic=clinic, plan=plan, options=options))


def in_english_for_want_of_words(formulary: Formulary) -> Job:
    record = two_eyes.record(language="so")
    return _set(_two_eyes(formulary, record=record, options=SheetOptions(size="large", paper="Letter")))


def large_print_on_small_paper(formulary: Formulary) -> Job:
    options = SheetOptions(paper="A5", size="large", pictures=True)
    return _set(told("01-wanjiru", "en", options=options), close=True)


def beside_the_staffs_copy(formulary: Formulary) -> Job:
    """Two leaves, row by row at one height."""
    content = told("02-tom", "bn", options=SheetOptions(twin="en", native_digits=True))
    assert content.twin
    patient, staff = sheet_data(content), sheet_data(content.twin)
    both = [patient | {"beside": staff}, staff | {"beside": patient}]
    return job(both, content.printed_on)


def from_right_to_left(formulary: Formulary) -> Job:
    return _set(told("01-wanjiru", "ar", options=SheetOptions(calendar=True)))


def from_right_to_left_in_pictures(formulary: Formulary) -> Job:
    return _set(_two_eyes(formulary, language="ur", options=SheetOptions(pictures=True)), close=True)


def days_to_tick(formulary: Formulary) -> Job:
    return _set(told("04-peter", "en", options=SheetOptions(calendar=True)), close=True)


def _bare(formulary: Formulary, **options: Any) -> SheetContent:
    """What a sheet has when everything that may be absent is."""
    plan = two_eyes.plan(courses=(), rounds=(), supply=(), trips=(), before_leaving=(), cautions=())
    issue, clinic = (
        replace(two_eyes.ISSUE, replaces=None),
        replace(two_eyes.CLINIC, nearest_eye_clinic=None, address=None),
    )
    made = two_eyes.content(
        dict(formulary), plan=plan, previous=None, issue=issue, clinic=clinic, options=SheetOptions(**options)
    )
    return made.model_copy(update={"allergies": None, "before_leaving": None, "held": None})


def next_to_nothing(formulary: Formulary) -> Job:
    return _set(_bare(formulary))


def _plain_leaf(formulary: Formulary) -> Job:
    (sheet,) = next_to_nothing(formulary)["sheets"]
    return sheet


def a_days_batch(formulary: Formulary) -> Job:
    """Sheets behind their cover, printed on both sides; two could not be made."""
    tell = translator("en")
    sheets = [_plain_leaf(formulary), _plain_leaf(formulary)]
    lines = tuple(
        cover_line(tell, f"Person Number{i}", f"P-{i}", "Left eye", "العربية", 3) for i in range(34)
    )
    problems = (
        CoverProblem(
            name="P-90",
            reason="the drawn eye is the other one: " + "international " * 30,
            language="en",
            direction="ltr",
        ),
        CoverProblem(name="P-91", reason="العين", language="ar", direction="rtl"),
    )
    front = cover_data(cover(tell, two_eyes.LEFT_DONE, lines, problems), "A5")
    return job(sheets, date(2026, 11, 23), cover=front, duplex=True)


def a_days_batch_on_fronts(formulary: Formulary) -> Job:
    tell = translator("ar")
    lines = (cover_line(tell, "Person Number1", "P-1", "العين اليسرى", "English", 1),)
    front = cover_data(cover(tell, two_eyes.LEFT_DONE, lines, ()), "Letter")
    return job([_plain_leaf(formulary)] * 2, two_eyes.LEFT_DONE, cover=front)


def a_day_without_sheets(formulary: Formulary) -> Job:
    problem = CoverProblem(
        name="P-90", reason="the drawn eye is the other one", language="en", direction="ltr"
    )
    front = cover_data(cover(translator("en"), two_eyes.LEFT_DONE, (), (problem,)), "A4")
    return job([], two_eyes.LEFT_DONE, cover=front)


# ---- what must be refused -----------------------------------------------------------------------------
def _with_sign(content: SheetContent, at: int, words: str) -> SheetContent:
    signs = list(content.alarm.signs)
    signs[at] = signs[at].model_copy(update={"words": words})
    return content.model_copy(update={"alarm": content.alarm.model_copy(update={"signs": tuple(signs)})})


def refused(formulary: Formulary) -> dict[str, Job]:
    """Sheets that must not come out, each by what is wrong with it; one stands beside them that may."""
    plain = _two_eyes(formulary)
    large = _two_eyes(formulary, options=SheetOptions(size="large"))
    # Here alone the box of the signs may go on over the page, behind the fourth.
    small = _two_eyes(formulary, options=SheetOptions(paper="A5", size="large"))
    many, wide = "so many words that they fill a page " * 60, "W" * 40
    block, row = plain.bottles[0], plain.table.rows[0]
    container = block.lines[0].model_copy(update={"opened": wide * 2})

    def told(content: SheetContent, **changes: Any) -> Job:
        return _set(content.model_copy(update=changes))

    strange = told(plain)
    strange["sheets"][0]["who"]["name"] = "⊗"
    front = a_day_without_sheets(formulary)
    front["cover"]["problems"][0]["name"] = "⊗"
    numbers = small.clinic.model_copy(update={"telephones": small.clinic.telephones * 40})
    one_row = plain.table.model_copy(update={"rows": (row.model_copy(update={"dates": wide * 2}),)})
    return {
        "a character of no face of ours in a protocol": _protocol(text="⊗"),
        "a character of no face of ours": strange,
        "a character of no face of ours on the cover": front,
        "the eye on page two": told(plain, language_notice=many * 3),
        "a telephone on page two": told(small, clinic=numbers),
        "the signs on page two": told(plain, first_line=many),
        "what to do on page two": told(plain, alarm=plain.alarm.model_copy(update={"action": many})),
        "the last sign fills a page": _set(_with_sign(plain, 6, many)),
        "the fourth sign on page two, though later ones may stand there": _set(
            _with_sign(small, 3, many), close=True
        ),
        "the fifth sign on page two, where it may stand": _set(_with_sign(small, 4, many), close=True),
        "the next visit on page two": told(large, bring=many * 2),
        "a name wider than its place": told(plain, who=plain.who.model_copy(update={"name": wide})),
        "a word wider than the page": told(plain, steroid_ends=(wide * 2,)),
        "a day of a bottle wider than the page": told(
            plain, bottles=(block.model_copy(update={"lines": (container,)}),)
        ),
        "the days of a row wider than the page": told(plain, table=one_row),
    }


# ---- the protocol on paper ------------------------------------------------------------------------------
def _protocol(**more: Any) -> Job:
    lines = [
        {"name": f"Rule {at}", "says": ["Four drops a day.", "For a week."], "origin": "M" if at % 2 else ""}
        for at in range(12)
    ]
    return {
        "name": "Invented protocol",
        "version": "3",
        "country": "UK",
        "text": "Made up for the test.",
        "hash": "0123 4567",
        "notice": "Not approved.",
        "signed": False,
        "sections": [{"title": "Rules", "entries": lines}, {"title": "Medicines", "entries": lines[:6]}],
    } | more


PROTOCOLS: dict[str, Job] = {
    "protocol_to_sign": _protocol(),
    "protocol_signed": _protocol(signed=True, notice="Signed by Dr Sen, R-1"),
}
_SHEETS: tuple[Callable[[Formulary], Job], ...] = (
    two_eyes_in_words,
    two_eyes_on_a_full_leaf,
    one_eye_with_stairs,
    rounds_told_in_words_and_tablets,
    one_that_replaces_another,
    pictures,
    pictures_in_comfortable_letters,
    bottles_of_every_kind,
    draft_on_small_paper,
    in_english_for_want_of_words,
    large_print_on_small_paper,
    beside_the_staffs_copy,
    from_right_to_left,
    from_right_to_left_in_pictures,
    days_to_tick,
    next_to_nothing,
    a_days_batch,
    a_days_batch_on_fronts,
    a_day_without_sheets,
)
BY_NAME: dict[str, Callable[[Formulary], Job]] = {make.__name__: make for make in _SHEETS}
