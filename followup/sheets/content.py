"""From a care plan to what stands on the patient's sheet, in the patient's language.

Pure: the day of printing is passed in, nothing is read but catalogues. Paper (``pdf``) and phone
(``phone``) both start from here, so they can't say different things.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from followup.clinical.aftercare import Aftercare, load_aftercare
from followup.clinical.careplan import CarePlan
from followup.clinical.formulary import Medicine
from followup.clinical.record import Record
from followup.clinical.record.patient import Patient
from followup.errors import FollowupError
from followup.language.catalogues import LanguageChoice, choose, translator
from followup.language.fonts import fallback
from followup.sheets import advice, changes, medicines, visits
from followup.sheets.inputs import SheetInputs, sentences
from followup.sheets.model import ClinicBlock, Face, Foot, ReturnCode, Section, SheetContent, Telephone, Who


@dataclass(frozen=True)
class ClinicInfo:
    """The clinic as it stands on a sheet. ``sample``: invented, for the demonstration."""

    name: str
    code: str
    telephone_day: str
    telephone_night: str
    nearest_eye_clinic: str | None
    time_zone: str
    sample: bool = False


@dataclass(frozen=True)
class SheetIssue:
    """What a signed version's sheet carries and a draft does not.

    ``qr_payload`` is ASCII without personal data. ``replaces`` is the number of the sheet that
    this one takes the place of.
    """

    code_grouped: str
    qr_payload: str
    number: str
    printed_on: date
    replaces: str | None = None
    signed_by: str | None = None


def sheet_language(record: Record, asked: str | None = None) -> LanguageChoice:
    """The language to print in: the one asked for, the patient's sheet language, or the only one spoken.

    Raises FollowupError ``sheet.language`` where several are spoken and none is picked.
    """
    patient = record.patient
    tag = asked or patient.language
    if tag is None and len(patient.speaks) > 1:
        raise FollowupError(
            "sheet.language",
            f"the patient speaks {', '.join(patient.speaks)} and no sheet language is picked",
            where="patient.language",
            fix="pick one",
        )
    return choose(tag or (patient.speaks[0] if patient.speaks else None))


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
) -> SheetContent:
    """The whole sheet in ``language`` (default: the record's), a draft unless ``issue`` is given.

    ``previous`` is the plan of the sheet that the patient has now: what changed since is said
    first. Raises FollowupError for a refused plan, an issue of a plan that may not be signed,
    a medicine or sentence that is not on file, or a language that must be picked.
    """
    _must_be_printable(plan, issue)
    choice = sheet_language(record, language)
    words = translator(choice.language.tag)
    inputs = SheetInputs(plan, record, formulary, aftercare or load_aftercare(), words, printed_on)
    _ = words.gettext
    tables = medicines.phase_tables(inputs)
    coming = visits.visits(inputs)
    return SheetContent(
        language=words.language.tag,
        direction=words.language.direction,
        fonts=fallback(words.language),
        scale=words.language.scale,
        leading=words.language.leading,
        title=_("Your eye after the operation"),
        marks=_marks(inputs, clinic),
        language_notice=_language_notice(inputs, choice),
        watermark=None if issue else _("Draft. Not for the patient."),
        first_line=_replaces(inputs, issue),
        changes=changes.changes(inputs, previous),
        clinic=_clinic(inputs, clinic),
        who=_who(inputs),
        face=_face(inputs),
        code=_code(inputs, issue),
        alarm=advice.alarm(inputs),
        stairs=medicines.stair_blocks(inputs),
        steroid_ends=medicines.steroid_ends(inputs),
        rounds_heading=_("Your drops by the clock"),
        rounds=tables,
        rounds_rules=medicines.round_rules(inputs) if tables else (),
        later_heading=_("After that"),
        no_rounds=None if tables else inputs.say(medicines.NO_ROUNDS),
        cautions=advice.cautions(inputs),
        held=medicines.held(inputs),
        before_leaving=visits.before_leaving(inputs),
        next_visit_heading=_("Your next visit"),
        next_visit=coming[0] if coming else None,
        bring=_("Bring this sheet, all bottles, your glasses and a helper."),
        stopping=medicines.stopping(inputs),
        bottles_heading=_("Each medicine by dates"),
        bottles=medicines.bottle_blocks(inputs),
        visits_heading=_("All your visits"),
        visits=coming,
        sections=tuple(s for s in _sections(inputs) if s),
        teach_back=advice.teach_back(inputs),
        foot=_foot(inputs, issue),
        printed_on=issue.printed_on if issue else printed_on,
    )


def _must_be_printable(plan: CarePlan, issue: SheetIssue | None) -> None:
    if plan.refused:
        raise FollowupError(
            "sheet.refused",
            f"no sheet for a refused plan: {plan.refused[0].text}",
            where=plan.patient,
            fix="plan by hand",
        )
    if issue and not (plan.approved and plan.signable):
        reason = "its protocol is not approved" if not plan.approved else "it can't be signed yet"
        raise FollowupError(
            "sheet.unsigned",
            f"this plan may not be handed out: {reason}",
            where=plan.patient,
            fix="print a draft, or sign first",
        )


def _sections(inputs: SheetInputs) -> tuple[Section | None, ...]:
    return (
        medicines.how_to(inputs),
        medicines.bottle_care(inputs),
        advice.everyday(inputs),
        advice.never(inputs),
        advice.ordinary(inputs),
    )


def _marks(inputs: SheetInputs, clinic: ClinicInfo) -> tuple[str, ...]:
    """What keeps this sheet from being taken for an approved one; on every page."""
    _ = inputs.words.gettext
    return sentences(
        _("Sample clinic") if clinic.sample else None,
        None if inputs.plan.approved else _("Sample protocol, not approved for patients"),
        _("Draft translation") if inputs.words.is_draft else None,
    )


def _language_notice(inputs: SheetInputs, choice: LanguageChoice) -> str | None:
    if choice.missing is None:
        return None
    # Translators: stands on a sheet that had to be printed in English.
    text = inputs.words.gettext(
        "There are no %(language)s words for this sheet yet. Ask us to read it out to you."
    )
    return text % {"language": choice.missing}


def _replaces(inputs: SheetInputs, issue: SheetIssue | None) -> str | None:
    if issue is None or issue.replaces is None:
        return None
    return inputs.words.gettext("This sheet replaces sheet no. %(number)s. Throw the old one away.") % {
        "number": inputs.number(issue.replaces)
    }


def _clinic(inputs: SheetInputs, clinic: ClinicInfo) -> ClinicBlock:
    _ = inputs.words.gettext
    nearest = clinic.nearest_eye_clinic
    return ClinicBlock(
        name=inputs.name(clinic.name),
        telephones=(
            Telephone(label=_("By day"), number=inputs.number(clinic.telephone_day)),
            Telephone(label=_("By night"), number=inputs.number(clinic.telephone_night)),
        ),
        nearest=_("Nearest eye clinic: %(name)s") % {"name": inputs.name(nearest)} if nearest else None,
    )


def _who(inputs: SheetInputs) -> Who:
    patient = inputs.record.patient
    years = _age(patient, inputs.printed_on)
    # Translators: the patient's age; keep the number as digits in every form.
    age = inputs.words.ngettext("%(count)s year old", "%(count)s years old", years)
    return Who(
        name=inputs.name(patient.name),
        age=age % {"count": inputs.number(str(years))},
        code=inputs.number(patient.code),
    )


def _age(patient: Patient, today: date) -> int:
    if patient.birth_date is None:
        return today.year - (patient.birth_year or today.year)
    born = patient.birth_date
    return today.year - born.year - ((today.month, today.day) < (born.month, born.day))


def _face(inputs: SheetInputs) -> Face:
    _ = inputs.words.gettext
    eyes = inputs.eyes
    words = _("Both eyes") if len(eyes) > 1 else inputs.eye(eyes[0])
    # Translators: under the drawing of a face in a mirror frame with the treated eye filled.
    return Face(treated=eyes, words=words, caption=_("You, in the mirror"))


def _code(inputs: SheetInputs, issue: SheetIssue | None) -> ReturnCode | None:
    if issue is None:
        return None
    return ReturnCode(
        label=inputs.words.gettext("Return code"),
        grouped=inputs.number(issue.code_grouped),
        payload=issue.qr_payload,
    )


def _foot(inputs: SheetInputs, issue: SheetIssue | None) -> Foot:
    _ = inputs.words.gettext
    signed = issue.signed_by if issue else None
    return Foot(
        lines=sentences(
            _("Sheet no. %(number)s") % {"number": inputs.number(issue.number)} if issue else None,
            _("Printed on %(day)s") % {"day": inputs.day(issue.printed_on if issue else inputs.printed_on)},
            _("Protocol: %(name)s") % {"name": inputs.name(inputs.plan.protocol)},
            _("Signed by %(name)s") % {"name": inputs.name(signed)} if signed else None,
            None if issue else _("Not signed"),
        ),
        running=f"{inputs.number(inputs.record.patient.code)} · {_face(inputs).words}",
        # Translators: foot of every page; keep {page} and {pages} as they are.
        page=_("page {page} of {pages}"),
    )
