"""Putting in a drop, missing one, stopping, and keeping the bottles."""

from __future__ import annotations

from followup.sheets.inputs import SheetInputs, sentences
from followup.sheets.medicines import steroid_ends
from followup.sheets.model import SheetSection
from followup.sheets.table import between_bottles, wait_minutes
from followup.sheets.wording import BOTTLE_CARE, BOTTLE_GONE


def stopping(inputs: SheetInputs) -> SheetSection | None:
    """Not before the last day, not after it, and what to do about a missed drop."""
    _ = inputs.words.gettext
    courses = inputs.drops("active")
    if not courses:
        return None
    ends = any(inputs.last_day(course) for course in courses)
    return SheetSection(
        heading=_("Stopping and missing drops"),
        lines=sentences(
            _("Do not stop a drop before its last day, even if the eye feels well.") if ends else None,
            _("Do not go on with the steroid drop after its last day.") if steroid_ends(inputs) else None,
            _("A missed drop: put it in when you think of it."),
            missed(inputs),
        ),
    )


def missed(inputs: SheetInputs) -> str:
    """What to do with a forgotten drop when the next is near."""
    hours = inputs.aftercare.drops.missed_within_hours
    # Translators: about a drop that was forgotten.
    text = inputs.words.ngettext(
        "If the next drop is due within %(count)s hour, do not put in the missed one. "
        "Never take a double dose.",
        "If the next drop is due within %(count)s hours, do not put in the missed one. "
        "Never take a double dose.",
        hours,
    )
    return text % {"count": inputs.number(str(hours))}


def how_to(inputs: SheetInputs) -> SheetSection | None:
    """The steps of putting in one drop, each with its picture."""
    _ = inputs.words.gettext
    drops = inputs.drops("active", "held")
    if not drops:
        return None
    handling = inputs.aftercare.drops
    pregnancy = inputs.record.patient.conditions.pregnancy
    pregnant = pregnancy is not None and pregnancy != "no"
    minutes = handling.press_minutes_pregnant if pregnant else handling.press_minutes
    shakes = any(inputs.medicine(c).shake for c in drops)
    wait = wait_minutes(inputs)
    missed_eye = _("If the drop misses the eye, put in one more.")
    steps = {
        "wash": _("Wash your hands. Make sure of the bottle and the eye."),
        "shake": _("Shake the bottle if this sheet says so.") if shakes else None,
        "lean": _("Lean your head back and look up. Pull the lower eyelid down."),
        "drop": " ".join((_("Let one drop fall in. The tip must touch nothing."), missed_eye)),
        "press": _eye_closed(inputs, minutes),
        "wait": between_bottles(inputs, wait) if wait else None,
        "cap": _("Close the bottle.") if not wait else None,
    }
    told = {name: words for name, words in steps.items() if words}
    return SheetSection(
        heading=_("How to put in a drop"), numbered=True, lines=tuple(told.values()), pictures=tuple(told)
    )


def _eye_closed(inputs: SheetInputs, minutes: int) -> str:
    text = inputs.words.ngettext(
        "Close the eye for %(count)s minute. Or press gently beside the nose, not on the eye. "
        "Do not squeeze it shut.",
        "Close the eye for %(count)s minutes. Or press gently beside the nose, not on the eye. "
        "Do not squeeze it shut.",
        minutes,
    )
    return text % {"count": inputs.number(str(minutes))}


def bottle_care(inputs: SheetInputs) -> SheetSection | None:
    """Keeping and replacing bottles."""
    if not inputs.drops("active", "held"):
        return None
    _ = inputs.words.gettext
    # "Do not stop the drops" would contradict "do not start" where every one of them still waits.
    gone = (BOTTLE_GONE,) if inputs.drops("active") else ()
    return SheetSection(
        heading=_("Your bottles"), lines=tuple(inputs.say(line) for line in (*BOTTLE_CARE, *gone))
    )
