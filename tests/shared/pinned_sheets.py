"""Sheets chosen so that together they reach every part of the layouts, as the layouts read them.

Each is small: what repeats is cut short. Whatever a sheet of a plan has not got is put into it by hand.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from typing import Any

import two_eyes

from followup.clinical.protocol.formulary import Medicine
from followup.language.catalogues import translator
from followup.sheets.content import SheetOptions
from followup.sheets.model import CoverProblem, PhaseTable, SheetContent, SheetSection
from followup.sheets.paper.cover import cover, cover_line
from followup.sheets.paper.pdf import cover_data, job, sheet_data

Formulary = Mapping[str, Medicine]
Job = dict[str, Any]


def _in_both(content: SheetContent, cut: Callable[[SheetContent], dict[str, Any]]) -> SheetContent:
    """The content changed, and its other language likewise."""
    twin = content.twin and _in_both(content.twin, cut)
    return content.model_copy(update=cut(content) | {"twin": twin})


def _first(section: SheetSection | None, lines: int) -> SheetSection | None:
    return section and section.model_copy(
        update={"lines": section.lines[:lines], "pictures": section.pictures[:lines]}
    )


def _first_and_last(table: PhaseTable) -> PhaseTable:
    rounds = dict.fromkeys((table.rounds[0], table.rounds[-1]))
    return table.model_copy(update={"rounds": tuple(rounds)})


def _cut(
    content: SheetContent, rounds: tuple[int, ...], days: tuple[int, ...] = (), bottles: int = 9
) -> SheetContent:
    """Only these tables of times, the first of them whole, these days to tick, and so many medicines."""

    def cut(one: SheetContent) -> dict[str, Any]:
        first, *later = (one.rounds[at] for at in rounds)
        tables = (first, *map(_first_and_last, later))
        found: dict[str, Any] = {"rounds": tables, "bottles": one.bottles[:bottles], "calendar": None}
        if one.calendar and days:
            chosen = tuple(one.calendar.days[at] for at in days)
            found["calendar"] = one.calendar.model_copy(update={"days": chosen})
        return found

    return _in_both(content, cut)


def _brief(content: SheetContent) -> SheetContent:
    """Of what is a list on every sheet a line or two."""

    def cut(one: SheetContent) -> dict[str, Any]:
        return {
            **dict.fromkeys(("cautions", "held", "allergies", "before_leaving")),
            "changes": _first(one.changes, 2),
            "stopping": _first(one.stopping, 1),
            "visits": one.visits[:1],
            "steroid_ends": one.steroid_ends[:1],
            "sections": tuple(_first(part, 1) for part in one.sections[:3]),
            "rounds_rules": one.rounds_rules[:1],
            "rounds": tuple(_first_and_last(table) for table in one.rounds),
        }

    return _in_both(content, cut)


def _front(content: SheetContent) -> SheetContent:
    """Its first page, its stairs, and next to nothing after them."""
    none = dict.fromkeys(("rounds", "bottles", "visits", "squares"), ())

    def cut(one: SheetContent) -> dict[str, Any]:
        alone = dict.fromkeys(("next_visit", "stopping", "calendar"))
        return none | alone | {"sections": one.sections[:1]}

    return _in_both(_brief(content), cut)


def _set(*contents: SheetContent, tight: int = 0, whole: bool = True, **more: Any) -> Job:
    sheets = [sheet_data(content) | {"tight": tight, "whole": whole} for content in contents]
    return job(sheets, two_eyes.LEFT_DONE, **more)


def _few(
    formulary: Formulary,
    rounds: tuple[int, ...] = (0,),
    days: tuple[int, ...] = (),
    bottles: int = 1,
    **given: Any,
) -> SheetContent:
    """A brief sheet of two eyes."""
    return _brief(_cut(two_eyes.content(dict(formulary), **given), rounds, days, bottles))


def two_eyes_in_words(formulary: Formulary) -> Job:
    content = two_eyes.content(dict(formulary), options=SheetOptions(calendar=True))
    return _set(_cut(content, tuple(range(7)), days=(0, 1, 4, 6, -1)))


def pictures(formulary: Formulary) -> Job:
    clinic = replace(two_eyes.CLINIC, cap_colours=True)
    content = two_eyes.content(dict(formulary), options=SheetOptions(pictures=True), clinic=clinic)
    return _set(_cut(content, rounds=(0,), bottles=3))


def bottles_of_every_kind(formulary: Formulary) -> Job:
    content = _few(formulary, options=SheetOptions(pictures=True))
    (one,) = content.bottles
    caps = (
        "pink",
        "tan",
        "grey",
        "red",
        "dark green",
        "yellow",
        "purple",
        "orange",
        "turquoise",
        "dark blue",
        None,
    )
    kinds, sides = ("drop", "ointment", "tablet"), ("left", "right", None)
    letters = ("S", "N", "A2", "C", "P", "L", "H", "V", "T", "X", "S")
    drawn = tuple(
        one.model_copy(update={"lines": (), "notes": (), "bottle": one.bottle.model_copy(update={
            "letter": letter, "kind": kinds[at // 4 if at < 9 else 0], "side": sides[at % 3], "cap": cap,
        })})
        for at, (letter, cap) in enumerate(zip(letters, caps, strict=True))
    )  # fmt: skip
    return _set(_with_a_long_sign(content.model_copy(update={"bottles": drawn}), 22), tight=1)


def draft_on_small_paper(formulary: Formulary) -> Job:
    clinic, plan = replace(two_eyes.CLINIC, sample=True), two_eyes.plan(approved=False)
    options = SheetOptions(paper="A5")
    content = two_eyes.content(dict(formulary), issue=None, clinic=clinic, plan=plan, options=options)
    return _set(_cut(content, rounds=(0, 2), bottles=2))


def in_english_for_want_of_words(formulary: Formulary) -> Job:
    record = two_eyes.record(language="so")
    return _set(
        _few(
            formulary,
            record=record,
            days=(0, 1),
            options=SheetOptions(size="large", paper="Letter", calendar=True),
        )
    )


def small_paper_in_pictures(formulary: Formulary) -> Job:
    """Two signs beside each other, for one has a long word."""
    content = _few(formulary, options=SheetOptions(paper="A5", pictures=True))
    return _set(_with_a_long_sign(content, 12), tight=1)


def _with_a_long_sign(content: SheetContent, length: int) -> SheetContent:
    first, *others = content.alarm.signs
    signs = (first.model_copy(update={"words": "W" * length}), *others)
    return content.model_copy(update={"alarm": content.alarm.model_copy(update={"signs": signs})})


def large_print_on_small_paper(formulary: Formulary) -> Job:
    options = SheetOptions(paper="A5", size="large")
    return _set(_few(formulary, days=(0, 1, 2), options=options), tight=1)


def two_languages(formulary: Formulary) -> Job:
    """One word of the staff's as wide as a column, and a pair of lines that has to stay on one page."""
    options = SheetOptions(twin="en", native_digits=True)
    content = _few(formulary, rounds=(0, 3, 5, 6), days=(0,), language="bn", options=options)
    made = _set(content)
    (sheet,) = made["sheets"]
    sheet["rounds"][1]["bottles"][0]["eye"]["twin"] = "Internationalisations"
    sheet["stopping"]["lines"] = [{"main": "word " * 60, "twin": "more " * 45}] * 7
    return made


def two_languages_in_pictures(formulary: Formulary) -> Job:
    return _set(_few(formulary, language="hi", options=SheetOptions(twin="ar", pictures=True)), tight=1)


def two_languages_closer(formulary: Formulary) -> Job:
    return _set(
        _front(two_eyes.content(dict(formulary), language="ar", options=SheetOptions(twin="en"))), tight=2
    )


def two_languages_closest(formulary: Formulary) -> Job:
    options = SheetOptions(twin="ur", paper="A5", size="large")
    content = two_eyes.content(dict(formulary), language="ta", options=options)
    return _set(_front(content), tight=3, whole=False)


def from_right_to_left(formulary: Formulary) -> Job:
    return _set(_few(formulary, rounds=(0, 4, 5, 6, 5), language="ar", days=(0, 4, -1)))


def from_right_to_left_in_pictures(formulary: Formulary) -> Job:
    return _set(_few(formulary, language="ur", options=SheetOptions(pictures=True)))


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


def _stairs(formulary: Formulary, xs: list[float], **given: Any) -> Job:
    """One eye: more days under the steps than fit, visits of each kind, lines of each kind."""
    made = _set(_few(formulary, rounds=(0, 4, 4), bottles=0, **given))
    (sheet,) = made["sheets"]
    for bottle in (bottle for table in sheet["rounds"] for bottle in table["bottles"]):
        bottle["name"] = "Pred"  # so short that three columns would fit into half a page
    sheet |= {"stairs": sheet["stairs"][1:], "visits": [], "squares": [], "sections": sheet["sections"][:1]}
    for sign in sheet["alarm"]["signs"][3:]:  # three are left that would fit beside each other
        sign["words"] += " " + "and more " * 5
    (block,) = sheet["stairs"]
    block["marks"] = [{"x": x, "words": f"{at} June"} for at, x in enumerate(xs)]
    steroid, line, *_ = block["drawing"]["stairs"]
    steroid["treads"][0] |= {"days": 1, "count": 16}
    lines = [line | {"dash": dash, "held": dash == 3, "key": steroid["key"]} for dash in range(6)]
    block["drawing"]["stairs"] = [steroid, *lines, steroid | {"held": True}]
    tick = block["drawing"]["ticks"][0]
    states = ("done", "missed", "open")
    block["drawing"]["ticks"] = [tick | {"state": state, "x": 0.2 * at} for at, state in enumerate(states)]
    return made


def stairs_of_one_eye(formulary: Formulary) -> Job:
    return _stairs(formulary, [0.003 * at for at in range(100)], issue=None)


def stairs_from_right_to_left(formulary: Formulary) -> Job:
    issue = replace(two_eyes.ISSUE, code_grouped="7KQ2")  # narrower than its square
    made = _stairs(formulary, [0.01, *(1 - 0.003 * at for at in range(100))], language="ur", issue=issue)
    (sheet,) = made["sheets"]
    for sign in sheet["alarm"]["signs"]:  # all fit beside each other
        sign["words"] = sign["words"][:9]
    return made


def next_to_nothing(formulary: Formulary) -> Job:
    return _set(_bare(formulary, calendar=False))


def _ticked(
    formulary: Formulary, days: list[tuple[int, ...]], goes_on: tuple[str, ...], **options: Any
) -> Job:
    """Days with that many events, each of so many words."""
    made = two_eyes.content(dict(formulary), options=SheetOptions(calendar=True, **options))
    assert made.calendar
    whole = made.calendar.days[0]
    event, round_ = (
        whole.events[-1],
        whole.rounds[0].model_copy(update={"bottles": whole.rounds[0].bottles[:1]}),
    )
    rows = tuple(
        whole.model_copy(update={
            "weekday": "Day", "day": f"{number} June" if number % 2 else str(number), "rounds": (round_,),
            "events": tuple(event.model_copy(update={"words": "word " * count}) for count in counts),
        })
        for number, counts in enumerate(days, 1)
    )  # fmt: skip
    calendar = made.calendar.model_copy(update={"days": rows, "goes_on": goes_on})
    sheet = _bare(formulary, **options)
    return _set(sheet.model_copy(update={"sections": sheet.sections[-1:], "calendar": calendar}))


def days_over_two_pages(formulary: Formulary) -> Job:
    return _ticked(formulary, [()] * 22, ("Go on with Dorzolamide 2% every day.",) * 3)


def long_days_on_small_paper(formulary: Formulary) -> Job:
    """Of three events each stays whole, of four it may go on over the page; the last two hold together."""
    days = [(60,), (40, 40, 40), (), (40, 20, 20, 20), *([()] * 5)]
    return _ticked(formulary, days, (), paper="A5", size="large")


def next_to_nothing_in_two_languages(formulary: Formulary) -> Job:
    return _set(_bare(formulary, calendar=False, twin="bn"), tight=1)


def next_to_nothing_on_small_paper(formulary: Formulary) -> Job:
    return _set(_with_a_long_sign(_bare(formulary, calendar=False, paper="A5", pictures=True), 8))


def _of_one_page(formulary: Formulary) -> Job:
    (sheet,) = next_to_nothing(formulary)["sheets"]
    return sheet | {"sections": sheet["sections"][-1:]}


def a_days_batch(formulary: Formulary) -> Job:
    """Sheets behind their cover, printed on both sides; two could not be made."""
    tell = translator("en")
    sheets = [_of_one_page(formulary), _of_one_page(formulary)]
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
    return job([_of_one_page(formulary)] * 2, two_eyes.LEFT_DONE, cover=front)


def a_day_without_sheets(formulary: Formulary) -> Job:
    problem = CoverProblem(
        name="P-90", reason="the drawn eye is the other one", language="en", direction="ltr"
    )
    front = cover_data(cover(translator("en"), two_eyes.LEFT_DONE, (), (problem,)), "A4")
    return job([], two_eyes.LEFT_DONE, cover=front)


# ---- what must be refused -----------------------------------------------------------------------------
def _only_four(plain: SheetContent, at: int, many: str) -> Job:
    """This sign fills the page and ends on the next, and only the first four have to stand on one."""
    longer = plain.alarm.signs[at].model_copy(update={"words": many})
    signs = (*plain.alarm.signs[:at], longer, *plain.alarm.signs[at + 1 :])
    return _set(
        plain.model_copy(update={"alarm": plain.alarm.model_copy(update={"signs": signs})}), whole=False
    )


def refused(formulary: Formulary) -> dict[str, Job]:
    """Sheets that must not come out, each by what is wrong with it."""
    plain = _few(formulary)
    drawn = _few(formulary, options=SheetOptions(pictures=True))
    clinic, alarm, (block, *_) = plain.clinic, plain.alarm, plain.bottles
    line, wide = block.lines[0], "W" * 33  # the width of a page bears 36 of them
    many = "so many words that they fill a page " * 60
    few = alarm.signs[:4]
    longer = tuple(
        sign.model_copy(update={"words": f"{sign.words} {many if at > 4 else ''}"})
        for at, sign in enumerate(alarm.signs)
    )

    def told(**changes: Any) -> Job:
        return _set(plain.model_copy(update=changes))

    def of_clinic(**changes: Any) -> Job:
        return told(clinic=clinic.model_copy(update=changes))

    def of_bottle(**changes: str) -> Job:
        changed = block.model_copy(update={"lines": (line.model_copy(update=changes),)})
        return _set(plain.model_copy(update={"bottles": (changed,)}))

    strange = told()
    strange["sheets"][0]["who"]["name"] = "⊗"
    front = a_day_without_sheets(formulary)
    front["cover"]["problems"][0]["name"] = "⊗"
    return {
        "a character of no face of ours in a protocol": _protocol(text="⊗"),
        "a character of no face of ours": strange,
        "a character of no face of ours on the cover": front,
        "a telephone on page two": of_clinic(telephones=clinic.telephones * 40),
        "the eye on page two": of_clinic(telephones=(), name=many * 3),
        "a date on page two": told(dated=plain.dated * 60),
        "the signs on page two": told(first_line=many),
        "a later sign on page two": told(alarm=alarm.model_copy(update={"signs": longer})),
        "the fourth sign on page two in pictures": _only_four(drawn, 3, many),
        "the fourth sign on page two, though later ones may stand there": _only_four(plain, 3, many),
        "the fifth sign on page two, where it may stand": _only_four(plain, 4, many),
        "what to do on page two": told(alarm=alarm.model_copy(update={"signs": few, "action": many})),
        "a name wider than its place": told(who=plain.who.model_copy(update={"name": wide})),
        "a word wider than the page": told(steroid_ends=("W" * 35 + "i" * 6,)),
        "a word as wide as the page bears": told(steroid_ends=("W" * 36 + "ii",)),
        "a dose wider than its column": of_bottle(dose="W" * 24),
        "a date wider than its column": of_bottle(dates=wide, dose="one drop " * 9),
    }  # fmt: skip


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
    pictures,
    bottles_of_every_kind,
    draft_on_small_paper,
    in_english_for_want_of_words,
    small_paper_in_pictures,
    large_print_on_small_paper,
    two_languages,
    two_languages_in_pictures,
    two_languages_closer,
    two_languages_closest,
    from_right_to_left,
    from_right_to_left_in_pictures,
    next_to_nothing,
    next_to_nothing_in_two_languages,
    next_to_nothing_on_small_paper,
    a_days_batch,
    a_days_batch_on_fronts,
    stairs_of_one_eye,
    stairs_from_right_to_left,
    a_day_without_sheets,
    days_over_two_pages,
    long_days_on_small_paper,
)
BY_NAME: dict[str, Callable[[Formulary], Job]] = {make.__name__: make for make in _SHEETS}
