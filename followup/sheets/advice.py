"""Everything beyond drops and visits: everyday rules, what never to do, what is ordinary, cautions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from followup.clinical.protocol.aftercare import Advice, Holding
from followup.clinical.record import Eye
from followup.errors import FollowupError
from followup.language.catalogues import N_, translator
from followup.said import say
from followup.sheets.inputs import SheetInputs, once, sentences
from followup.sheets.medicines import go_on
from followup.sheets.model import Alarm, SheetSection, Sign
from followup.sheets.wording import ADVICE, ALWAYS, DOCTOR_ENDS, NEVER, SIGNS, UNTIL

# The rules of everyday life that the layout has a drawing for.
DRAWN = frozenset(
    (
        *("rub", "shield", "sleep", "water", "swim", "pray", "field", "lift", "smoke", "drive"),
        *("no-flying", "bandage-lens", "glasses"),
    )
)


def alarm(inputs: SheetInputs) -> Alarm:
    """Come at once: the same signs in the same words on every sheet, whatever the plan."""
    _ = inputs.words.gettext
    return Alarm(
        heading=_("Come at once, even without pain, if:"),
        signs=tuple(Sign(id=key, words=inputs.say(words)) for key, words in SIGNS.items()),
        action=_("Do not wait for your next visit. Come now, or call us by day or night."),
    )


def at_home(inputs: SheetInputs) -> tuple[SheetSection, ...]:
    """The rules of everyday life that still hold, those that end on one day together under it."""
    rules = _held(inputs, "paper")
    days = sorted({rule.until for rule in rules if rule.until and _ends_with_its_day(rule)})
    ended = [[rule for rule in rules if rule.until == day and _ends_with_its_day(rule)] for day in days]
    others = [rule for rule in rules if not _ends_with_its_day(rule)]
    headings = [inputs.say(UNTIL) % {"day": inputs.day(day)} for day in days]
    groups = zip((*headings, inputs.say(ALWAYS)), (*ended, others), strict=True)
    return tuple(_rules(inputs, heading, group) for heading, group in groups if group)


def _ends_with_its_day(rule: Holding) -> bool:
    """Whether its sentence leaves the last day to the heading; some end with a doctor's word."""
    words = ADVICE.get(rule.advice.id, "")
    return rule.until is not None and rule.advice.id not in DOCTOR_ENDS and "%(until)s" not in words


def _rules(inputs: SheetInputs, heading: str, rules: list[Holding]) -> SheetSection:
    pictures = tuple(rule.advice.id if rule.advice.id in DRAWN else "" for rule in rules)
    return SheetSection(
        heading=heading,
        lines=tuple(_line(inputs, rule) for rule in rules),
        pictures=pictures if inputs.options.pictures else (),
    )


def never(inputs: SheetInputs) -> SheetSection:
    _ = inputs.words.gettext
    return SheetSection(heading=_("Never"), lines=tuple(inputs.say(line) for line in NEVER))


def ordinary(inputs: SheetInputs) -> SheetSection | None:
    """What is no reason to worry, as long as it is none."""
    _ = inputs.words.gettext
    lines = tuple(_line(inputs, rule) for rule in _held(inputs, "ordinary"))
    return SheetSection(heading=_("This is ordinary"), lines=lines) if lines else None


def cautions(inputs: SheetInputs) -> SheetSection | None:
    """What stands with the drops: medicines that go on though they are held, and what holds today."""
    _ = inputs.words.gettext
    held = (_line(inputs, rule) for rule in _held(inputs, "important"))
    lines = once((*_first_drops(inputs), *go_on(inputs, "held"), *held))
    return SheetSection(heading=_("Important for you"), lines=lines) if lines else None


def _first_drops(inputs: SheetInputs) -> Iterator[str]:
    """When the drops begin for whoever is awake when the pad comes off and rises only later."""
    for first in inputs.plan.first_drop_days:
        if first.at is None or inputs.printed_on > first.day:
            continue
        yield inputs.words.gettext(
            "Put in the first drops on %(day)s at %(time)s, when the pad may come off, before you sleep. "
            "After that, follow the table."
        ) % {"day": inputs.day(first.day), "time": inputs.hour(first.at)}


def _held(inputs: SheetInputs, *places: str) -> list[Holding]:
    """The protocol's sentences of these places that hold on the day of printing."""
    _must_know(inputs)
    return [rule for rule in inputs.holding if rule.advice.place in places]


def _must_know(inputs: SheetInputs) -> None:
    """What a caution of the plan asks for is there. Error ``sheet.sentence``."""
    known = {advice.id for advice in inputs.aftercare.advice}
    for caution in inputs.plan.cautions:
        if caution.sheet is not None and caution.sheet not in known:
            raise FollowupError(
                "sheet.sentence",
                say(
                    "the caution {id} asks for the sentence {sheet}, which the sheet lacks",
                    id=caution.id,
                    sheet=repr(caution.sheet),
                ),
                fix=say("name one of {known}", known=", ".join(sorted(known))),
            )


def _line(inputs: SheetInputs, rule: Holding) -> str:
    """The sentence in words, with its eye where it holds for one of two operated eyes alone."""
    until = inputs.day(rule.until) if rule.until else ""
    said = inputs.say(_words(rule.advice)) % {"until": until}
    eyes = _eyes_named(inputs, rule)
    if len(inputs.eyes) < 2 or len(eyes) != 1:
        return said
    # Translators: which eye a sentence is for, where both eyes were operated, then the sentence.
    return inputs.words.gettext("%(eye)s: %(sentence)s") % {"eye": inputs.eye(eyes[0]), "sentence": said}


def _eyes_named(inputs: SheetInputs, rule: Holding) -> tuple[Eye, ...]:
    asked = {c.eye for c in inputs.plan.cautions if c.sheet == rule.advice.id}
    if rule.advice.of_eye or (rule.advice.asked and None not in asked):
        return rule.eyes
    return ()


ASKED = (
    N_("Show me how you put in one drop."),
    N_("When do you come next?"),
    N_("What would make you come at once?"),
)
"""What everybody who takes a sheet home is asked first."""


def teach_back(inputs: SheetInputs) -> SheetSection:
    """For the counsellor: what is said but not printed, and what to ask back."""
    _ = inputs.words.gettext
    unsaid = _held(inputs, "teach-back")
    return SheetSection(
        heading=_("To say and to ask"),
        lines=sentences(
            *once(_line(inputs, rule) for rule in unsaid),
            _("Draw the mark of every bottle on its label, as it is on the sheet.")
            if inputs.drops("active", "held")
            else None,
            _(ASKED[0]) if inputs.drops("active", "held") else None,
            _(ASKED[1]) if inputs.plan.to_come(inputs.printed_on) else None,
            _(ASKED[2]),
        ),
    )


def asked_back(language: str, lines: Sequence[str]) -> tuple[int, ...]:
    """Where among the lines of the teach-back the three questions stand that matter most, in their order."""
    words = translator(language, "sheet")
    return tuple(place for text in ASKED for place, line in enumerate(lines) if line == words.gettext(text))


def _words(advice: Advice) -> str:
    words = ADVICE.get(advice.id)
    if words is None:
        raise FollowupError(
            "sheet.sentence",
            say("the sheet has no words for the advice {id}", id=repr(advice.id)),
            where=say("aftercare.toml"),
            fix=say("name one of {advice}", advice=", ".join(ADVICE)),
        )
    if ("%(until)s" in words) and advice.small is None:
        raise FollowupError(
            "sheet.sentence",
            say("the advice {id} needs a last day", id=repr(advice.id)),
            where=say("aftercare.toml"),
            fix=say("give small and large"),
        )
    return words
