"""From a care plan to what stands on the patient's sheet, in the patient's language.

Pure: the day of printing is passed in, nothing is read but catalogues. Paper (``pdf``) and phone
(``phone``) both start from here, so they can't say different things.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from followup.clinical.careplan import CarePlan
from followup.clinical.protocol.aftercare import Aftercare
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import Record
from followup.errors import FollowupError
from followup.language.catalogues import LanguageChoice, choose, translator
from followup.language.languages import ENGLISH
from followup.said import say
from followup.sheets import (
    advice,
    allergies,
    changes,
    days,
    handling,
    head,
    medicines,
    squares,
    stairs,
    table,
    visits,
)
from followup.sheets.head import ClinicInfo, SheetIssue
from followup.sheets.inputs import SheetInputs
from followup.sheets.model import SheetContent, TextSetting
from followup.sheets.options import SheetOptions
from followup.sheets.wording import BOTTLE_HEADS, COME_AGAIN, STAFF_COPY, TURN_OVER

__all__ = ["ClinicInfo", "SheetIssue", "SheetOptions", "build_content", "sheet_language"]


def sheet_language(record: Record, asked: str | None = None) -> LanguageChoice:
    """The language to print in: the one asked for, the patient's sheet language, or the only one spoken.

    Raises FollowupError ``sheet.language`` where several are spoken and none is picked.
    """
    patient = record.patient
    tag = asked or patient.language
    if tag is None and len(patient.speaks) > 1:
        raise FollowupError(
            "sheet.language",
            say(
                "the patient speaks {speaks} and no sheet language is picked",
                speaks=", ".join(patient.speaks),
            ),
            where=say("patient.language"),
            fix=say("pick one"),
        )
    choice = choose(tag or (patient.speaks[0] if patient.speaks else None))
    own = choose(patient.language)
    if choice.language == ENGLISH and own.missing:
        return own  # also where English was asked for by name: the sheet still says what is missing
    return choice


def build_content(
    plan: CarePlan,
    record: Record,
    formulary: Mapping[str, Medicine],
    clinic: ClinicInfo,
    *,
    language: str | None = None,
    issue: SheetIssue | None = None,
    printed_on: date,
    aftercare: Aftercare | None = None,
    previous: CarePlan | None = None,
    earlier: tuple[CarePlan, ...] = (),
    options: SheetOptions | None = None,
) -> SheetContent:
    """The whole sheet in ``language`` (default: the record's), a draft unless ``issue`` is given.

    ``previous`` is the plan of the sheet that the patient has now: what changed since is said
    first. ``earlier`` are the plans of all sheets of this patient before, oldest first: their bottles keep
    their letters. ``options``: see ``SheetOptions``; a twin in the sheet's own language is left out.
    Raises FollowupError for a refused plan, an issue of a plan that may not be signed, a medicine
    or sentence that is not on file, or a language that must be picked.
    """
    _must_be_printable(plan, issue)
    choice = sheet_language(record, language)
    chosen = options or SheetOptions()
    inputs = SheetInputs(
        plan,
        record,
        formulary,
        aftercare or load_protocol().aftercare,
        words := translator(choice.language.tag),
        printed_on,
        chosen,
        clinic.cap_colours,
        words.is_draft,
        earlier or ((previous,) if previous else ()),
    )
    content = _content(inputs, clinic, choice, issue, previous)
    twin = translator(chosen.twin) if chosen.twin else None
    if twin is None or twin.language == choice.language:
        return content
    staff = _content(replace(inputs, words=twin), clinic, choice, issue, previous)
    staff = staff.model_copy(update={"copy_for": twin.gettext(STAFF_COPY)})
    return content.model_copy(update={"twin": staff})


def _content(
    inputs: SheetInputs,
    clinic: ClinicInfo,
    choice: LanguageChoice,
    issue: SheetIssue | None,
    previous: CarePlan | None,
) -> SheetContent:
    _ = inputs.words.gettext
    leaf = table.leaf_table(inputs, previous)
    return SheetContent(
        **_looks(inputs),
        twin=None,
        copy_for=None,
        title=_("Your eye after the operation"),
        marks=head.marks(inputs, clinic),
        language_notice=head.language_notice(inputs, choice),
        watermark=None if issue else _("Draft. Not for the patient."),
        first_line=head.replaces(inputs, issue),
        changes=changes.changes(inputs, previous),
        clinic=head.clinic(inputs, clinic),
        who=head.who(inputs),
        dated=head.dated(inputs),
        face=head.face(inputs),
        code=squares.return_code(inputs, issue),
        alarm=advice.alarm(inputs),
        next_visit_heading=inputs.say(COME_AGAIN),
        next_visit=visits.next_visit(inputs),
        bring=_("Bring this sheet, all bottles, your glasses and a helper."),
        table=leaf,
        bottles=medicines.bottle_blocks(inputs),
        steroid_ends=medicines.steroid_ends(inputs),
        held=medicines.held(inputs),
        cautions=advice.cautions(inputs),
        before_leaving=visits.before_leaving(inputs),
        stairs=stairs.stair_blocks(inputs),
        turn_over=inputs.say(TURN_OVER),
        bottle_heads=tuple(inputs.say(words) for words in BOTTLE_HEADS),
        bottle_care=handling.bottle_care(inputs),
        how_to=handling.how_to(inputs),
        stopping=handling.stopping(inputs),
        home_heading=_("At home"),
        home=advice.at_home(inputs),
        never=advice.never(inputs),
        ordinary=advice.ordinary(inputs),
        allergies=allergies.allergies(inputs),
        # Translators: over the two squares that a phone's camera reads.
        squares_heading=_("For a phone: point its camera at one square"),
        squares=squares.squares(inputs, clinic, issue),
        calendar=days.days_to_tick(inputs, leaf) if inputs.options.calendar else None,
        teach_back=advice.teach_back(inputs),
        foot=head.foot(inputs, issue),
        printed_on=issue.printed_on if issue else inputs.printed_on,
    )


def _looks(inputs: SheetInputs) -> dict[str, Any]:
    """How the sheet is set: its paper, its letters and the way they run."""
    options = inputs.options
    return {
        "size": options.size,
        "paper": options.paper,
        "pictures": options.pictures,
        **dict(TextSetting.of(inputs.words.language)),
    }


def _must_be_printable(plan: CarePlan, issue: SheetIssue | None) -> None:
    if plan.refused:
        raise FollowupError(
            "sheet.refused",
            say("no sheet for a refused plan: {text}", text=plan.refused[0].text),
            where=plan.patient,
            fix=say("plan by hand"),
        )
    if issue and not (plan.approved and plan.signable):
        reason = "its protocol is not approved" if not plan.approved else "it can't be signed yet"
        raise FollowupError(
            "sheet.unsigned",
            say("this plan may not be handed out: {reason}", reason=reason),
            where=plan.patient,
            fix=say("print a draft, or sign first"),
        )
