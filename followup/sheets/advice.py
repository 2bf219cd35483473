"""Everything beyond drops and visits: everyday rules, what never to do, what is ordinary, cautions."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from followup.clinical.aftercare import Advice
from followup.errors import FollowupError
from followup.sheets.inputs import SheetInputs, once, sentences
from followup.sheets.medicines import go_on
from followup.sheets.model import Alarm, Section, Sign
from followup.sheets.wording import ADVICE, CAUTIONS, NEVER, SIGNS

# The rules of everyday life that the layout has a drawing for, and how many of them one sheet bears.
DRAWN = frozenset(
    (
        *("rub", "shield", "sleep", "water", "swim", "pray", "field", "lift", "smoke", "drive"),
        *("gas", "bandage-lens", "glasses"),
    )
)
MOST_PICTURES = 8


def alarm(inputs: SheetInputs) -> Alarm:
    """Come at once: the same signs in the same words on every sheet, whatever the plan."""
    _ = inputs.words.gettext
    return Alarm(
        heading=_("Come at once, even without pain, if:"),
        signs=tuple(Sign(id=key, words=inputs.say(words)) for key, words in SIGNS.items()),
        action=_("Do not wait for your next visit. Come now, or call us by day or night."),
    )


def everyday(inputs: SheetInputs) -> Section:
    """The rules of everyday life that still hold on the day of printing.

    In pictures at most ``MOST_PICTURES`` of them: first those for this eye alone, then in the order
    of the protocol; the counsellor says the others.
    """
    _ = inputs.words.gettext
    rules = _printed_rules(inputs)
    pictures = (*(a.id for a, _ in rules), "") if inputs.options.pictures else ()
    lines = (*(line for _, line in rules), other_medicines(inputs))
    return Section(heading=_("At home"), lines=lines, pictures=pictures)


def _printed_rules(inputs: SheetInputs) -> list[tuple[Advice, str]]:
    said = frozenset(_caution_lines(inputs))
    rules = [(advice, line) for advice, line in _advice(inputs, "paper") if line not in said]
    if not inputs.options.pictures:
        return rules
    drawn = sorted((rule for rule in rules if rule[0].id in DRAWN), key=lambda rule: rule[0].only is None)
    return drawn[:MOST_PICTURES]


def never(inputs: SheetInputs) -> Section:
    _ = inputs.words.gettext
    return Section(heading=_("Never"), lines=tuple(inputs.say(line) for line in NEVER))


def ordinary(inputs: SheetInputs) -> Section:
    """What is no reason to worry in the first days."""
    _ = inputs.words.gettext
    return Section(
        heading=_("This is ordinary"),
        lines=(
            _("For some days the eye feels gritty and waters. You may see a red patch and glare."),
            _("For 3 days things may look bluish."),
        ),
    )


def cautions(inputs: SheetInputs) -> Section | None:
    """The patient's sentences of the plan's cautions, and of medicines that go on."""
    _ = inputs.words.gettext
    lines = once((*go_on(inputs, "held"), *_caution_lines(inputs)))
    return Section(heading=_("Important for you"), lines=lines) if lines else None


def _caution_lines(inputs: SheetInputs) -> Iterator[str]:
    _ = inputs.words.gettext
    if any(c.role == "steroid tablet" and c.state != "stopped" for c in inputs.plan.courses):
        yield inputs.say(CAUTIONS["steroid-tablets"])
    for sentence, applies in _from_record(inputs).items():
        if applies:
            yield inputs.say(CAUTIONS[sentence])
    for caution in inputs.plan.cautions:
        if caution.sheet is None:
            continue
        words = CAUTIONS.get(caution.sheet)
        if words is None:
            raise FollowupError(
                "sheet.sentence",
                f"the caution {caution.id} asks for the sentence {caution.sheet!r}, which the sheet lacks",
                fix=f"name one of {', '.join(CAUTIONS)}",
            )
        yield inputs.say(words)


def _from_record(inputs: SheetInputs) -> dict[str, bool]:
    """Sentences that the patient's own situation asks for, whatever the protocol says."""
    patient = inputs.record.patient
    eyes = [getattr(patient.eyes, eye) for eye in inputs.eyes]
    nobody = patient.drops_by is not None and patient.drops_by.who == "nobody"
    return {
        "only-eye": any(eye.only_seeing for eye in eyes),
        "helper": nobody and patient.help_arranged is None,
        "squeeze": patient.can_squeeze is False,
        "herpes": any(eye.herpetic_keratitis for eye in eyes),
        "blood-thinner": patient.conditions.blood_thinner is True,
        "wide-pupil": any(c.role == "cycloplegic" for c in inputs.courses("active")),
    }


def other_medicines(inputs: SheetInputs) -> str:
    _ = inputs.words.gettext
    return _(
        "Go on with your other medicines: for sugar, blood pressure, thin blood, steroid tablets, glaucoma."
    )


def teach_back(inputs: SheetInputs) -> Section:
    """For the counsellor: what is said but not printed, and what to ask back."""
    _ = inputs.words.gettext
    printed = {advice.id for advice, _ in _printed_rules(inputs)}
    unsaid = once(line for advice, line in _advice(inputs, "paper", "teach-back") if advice.id not in printed)
    said = frozenset(_caution_lines(inputs))
    return Section(
        heading=_("To say and to ask"),
        lines=sentences(
            *(line for line in unsaid if line not in said),
            _("Draw the mark of every bottle on its label, as it is on the sheet.")
            if inputs.courses("active", "held")
            else None,
            _("Show me how you put in one drop."),
            _("When do you come next?"),
            _("What would make you come at once?"),
        ),
    )


def _advice(inputs: SheetInputs, *places: str) -> Iterator[tuple[Advice, str]]:
    for advice in inputs.aftercare.advice:
        concerned = [o for o in inputs.record.operations if advice.concerns(o)]
        if advice.place not in places or not concerned:
            continue
        until = _until(inputs, advice)
        if until is not None and until < inputs.printed_on:
            continue
        yield advice, inputs.say(_words(advice)) % {"until": inputs.day(until) if until else ""}


def _until(inputs: SheetInputs, advice: Advice) -> date | None:
    days = [
        inputs.aftercare.last_day(advice, operation)
        for operation in inputs.record.operations
        if advice.concerns(operation)
    ]
    return max((day for day in days if day), default=None)


def _words(advice: Advice) -> str:
    words = ADVICE.get(advice.id)
    if words is None:
        raise FollowupError(
            "sheet.sentence",
            f"the sheet has no words for the advice {advice.id!r}",
            where="aftercare.toml",
            fix=f"name one of {', '.join(ADVICE)}",
        )
    if ("%(until)s" in words) and advice.small is None:
        raise FollowupError(
            "sheet.sentence",
            f"the advice {advice.id!r} needs a last day",
            where="aftercare.toml",
            fix="give small and large",
        )
    return words
