"""Head and foot of the sheet: clinic, patient, eye, code, and the marks that must not be missed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from followup.clinical.record.ages import age_words, oldest
from followup.language.catalogues import LanguageChoice
from followup.language.fonts import printable_name
from followup.sheets.inputs import SheetInputs, sentences
from followup.sheets.model import ClinicBlock, Face, Foot, Telephone, Who
from followup.sheets.wording import THROW_AWAY


@dataclass(frozen=True)
class ClinicInfo:
    """The clinic as it stands on a sheet. ``sample``: invented, for the demonstration.

    ``cap_colours``: the caps of its bottles have the colours that the formulary names.
    """

    name: str
    code: str
    telephone_day: str
    telephone_night: str
    nearest_eye_clinic: str | None
    time_zone: str
    sample: bool = False
    cap_colours: bool = False
    address: str | None = None


@dataclass(frozen=True)
class SheetIssue:
    """What a signed version's sheet carries and a draft does not.

    ``qr_payload`` is ASCII without personal data. ``replaces`` is the number of the sheet that
    this one takes the place of, and the day on which that was printed.
    """

    code_grouped: str
    qr_payload: str
    number: str
    printed_on: date
    replaces: tuple[str, date] | None = None
    signed_by: str | None = None


def marks(inputs: SheetInputs, clinic: ClinicInfo) -> tuple[str, ...]:
    """What keeps this sheet from being taken for an approved one; on every page."""
    _ = inputs.words.gettext
    return sentences(
        _("Sample clinic") if clinic.sample else None,
        None if inputs.plan.approved else _("Sample protocol, not approved for patients"),
        _("Draft translation") if inputs.draft_words else None,
    )


def language_notice(inputs: SheetInputs, choice: LanguageChoice) -> str | None:
    if choice.missing is None:
        return None
    # Translators: stands on a sheet that had to be printed in English.
    text = inputs.words.gettext(
        "There are no %(language)s words for this sheet yet. Ask us to read it out to you."
    )
    return text % {"language": choice.missing}


def replaces(inputs: SheetInputs, issue: SheetIssue | None) -> str | None:
    if issue is None or issue.replaces is None:
        return None
    number, printed = issue.replaces
    return inputs.say(THROW_AWAY) % {"number": inputs.number(number), "day": inputs.day(printed)}


def clinic(inputs: SheetInputs, clinic: ClinicInfo) -> ClinicBlock:
    _ = inputs.words.gettext
    nearest = clinic.nearest_eye_clinic
    return ClinicBlock(
        name=inputs.name(clinic.name),
        # Translators: where the clinic is, before its address.
        address=_("Address: %(address)s") % {"address": inputs.name(clinic.address)}
        if clinic.address
        else None,
        telephones=(
            # Translators: before a telephone number, with the mark that your language puts there.
            Telephone(label=_("By day:"), number=inputs.number(clinic.telephone_day)),
            Telephone(label=_("By night:"), number=inputs.number(clinic.telephone_night)),
        ),
        nearest=_("Nearest eye clinic: %(name)s") % {"name": inputs.name(nearest)} if nearest else None,
    )


def who(inputs: SheetInputs) -> Who:
    patient = inputs.record.patient
    born = patient.birth_date, patient.birth_year
    count, years = age_words(*born, inputs.printed_on), oldest(*born, inputs.printed_on)
    # Translators: the patient's age; keep the number as digits in every form.
    age = inputs.words.ngettext("%(count)s year old", "%(count)s years old", years)
    return Who(
        name=inputs.name(printable_name(patient.name, patient.name_latin, "patient.name")),
        age=age % {"count": inputs.number(count)},
        code=inputs.number(patient.code),
    )


def face(inputs: SheetInputs) -> Face:
    _ = inputs.words.gettext
    eyes = inputs.eyes
    words = _("Both eyes") if len(eyes) > 1 else inputs.eye(eyes[0])
    named = {eye: inputs.eye(eye) for eye in eyes}
    return Face(treated=eyes, eyes=named, words=words)


def dated(inputs: SheetInputs) -> tuple[str, ...]:
    """The day of every operation."""
    _ = inputs.words.gettext
    both = len(inputs.eyes) > 1
    operations = sorted(inputs.record.operations, key=lambda o: (o.date, o.eye))
    lines = []
    for operation in operations:
        values = {"day": inputs.day(operation.date), "eye": inputs.eye(operation.eye)}
        # Translators: the day of the operation; the second form where both eyes were operated.
        lines.append(
            _("%(eye)s: operated on %(day)s") % values if both else _("Operated on %(day)s") % values
        )
    return tuple(lines)


def foot(inputs: SheetInputs, issue: SheetIssue | None) -> Foot:
    _ = inputs.words.gettext
    signed = issue.signed_by if issue else None
    number = _("Sheet no. %(number)s") % {"number": inputs.number(issue.number)} if issue else None
    printed = issue.printed_on if issue else inputs.printed_on
    return Foot(
        lines=sentences(
            _("Printed on %(day)s") % {"day": inputs.day(printed)},
            _("Protocol: %(name)s") % {"name": inputs.name(inputs.plan.protocol)},
            _("Signed by %(name)s") % {"name": inputs.name(signed)} if signed else None,
            None if issue else _("Not signed"),
        ),
        running=sentences(inputs.number(inputs.record.patient.code), face(inputs).words, number),
        # Translators: foot of every page; keep {page} and {pages} as they are.
        page=_("page {page} of {pages}"),
    )
