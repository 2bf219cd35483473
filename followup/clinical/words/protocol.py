"""A protocol in words that a clinician can read, change with a pen and sign: every rule with its source."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from pydantic import BaseModel

from followup.clinical.english import counted, listed, sentence
from followup.clinical.plan.keys_told import RISK
from followup.clinical.protocol.aftercare import Advice
from followup.clinical.protocol.aftercare_states import STATES
from followup.clinical.protocol.cautions import CautionRule, DuplicateRule, Selector
from followup.clinical.protocol.facts import FactDef, bare
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.protocol.protocol import Protocol, text_of
from followup.clinical.protocol.rule import CourseEffect, NeedEffect, Rule, StepDef, Taper
from followup.clinical.words.entry import ProtocolEntry, ProtocolSection, origin
from followup.said import fill

NOT_APPROVED = "Not approved for patients until a licensed clinician of the clinic has signed it."


def protocol_words(protocol: Protocol) -> tuple[ProtocolSection, ...]:
    """All of a protocol, in the order in which a clinician would ask."""
    from followup.clinical.words.protocol_reviews import review_sections

    return (
        ProtocolSection("Tapers of steroid", tuple(_taper(taper) for taper in protocol.tapers.values())),
        ProtocolSection("Usual medicines", _usual(protocol)),
        ProtocolSection("Rules for courses, questions and cautions", _rules(protocol, with_needs=False)),
        ProtocolSection("Rules for what must be looked at", _rules(protocol, with_needs=True)),
        ProtocolSection("How often the pressure is checked", _tiers(protocol)),
        *review_sections(protocol),
        ProtocolSection("Above the label, owned by name", _above(protocol)),
        ProtocolSection("Medicines", tuple(_medicine(m) for m in protocol.formulary.values())),
        ProtocolSection(
            "What speaks against a medicine", tuple(_caution(c) for c in protocol.cautions.cautions)
        ),
        ProtocolSection("Two medicines at once", tuple(_duplicate(d) for d in protocol.cautions.duplicates)),
        ProtocolSection("What the words of the rules mean", tuple(_fact(f) for f in protocol.facts)),
        ProtocolSection("Everyday life", _aftercare(protocol)),
        ProtocolSection("Reaching those who did not come", _recall(protocol)),
        ProtocolSection("Settings", _settings(protocol)),
    )


def _taper(taper: Taper) -> ProtocolEntry:
    says = [_steps(taper.steps)]
    if taper.weaker_from is not None:
        says.append(f"from step {taper.weaker_from + 1} on with the weaker steroid")
    return ProtocolEntry(f"Taper {taper.id}", tuple(sentence(s) for s in says), origin(taper))


def _steps(steps: Sequence[StepDef]) -> str:
    often = (f"{s.count} a day" if isinstance(s.count, int) else f"{s.count} while awake" for s in steps)
    days = (counted(s.days, "day", "days") for s in steps)
    return ", then ".join(f"{count} for {length}" for count, length in zip(often, days, strict=True))


def _usual(protocol: Protocol) -> tuple[ProtocolEntry, ...]:
    return tuple(
        ProtocolEntry(role.replace("_", " ").capitalize(), (f"{protocol.formulary[name].label}.",))
        for role, name in protocol.medicines.items()
    )


def _rules(protocol: Protocol, *, with_needs: bool) -> tuple[ProtocolEntry, ...]:
    about = {fact.name: fact.about for fact in protocol.facts}
    chosen = [rule for rule in protocol.rules if bool(rule.need) is with_needs]
    return tuple(_rule(rule, about, protocol) for rule in chosen)


def _rule(rule: Rule, about: dict[str, str], protocol: Protocol) -> ProtocolEntry:
    says = [*_conditions(rule, about), *_effects(rule, protocol)]
    return ProtocolEntry(rule.id, tuple(sentence(line) for line in says), origin(rule))


def _conditions(rule: Rule, about: dict[str, str]) -> Iterator[str]:
    def told(name: str) -> str:
        words = f'"{about.get(bare(name), name)}"'
        return words if name == bare(name) else f"not {words}"

    if rule.always and not rule.when:
        yield "for every eye"
    if rule.when:
        yield f"when {listed(map(told, rule.when))}"
    if rule.any_of:
        yield f"when one of these holds: {listed(map(told, rule.any_of), 'or')}"
    if rule.unknown:
        yield f"when it is not recorded whether {listed(map(told, rule.unknown))}"
    if rule.unless:
        yield f"unless {listed(map(told, rule.unless), 'or')}"
    if rule.rank:
        yield f"rank {rule.rank}"


def _effects(rule: Rule, protocol: Protocol) -> Iterator[str]:
    yield from (_course(effect) for effect in rule.course)
    yield from (_need(effect, protocol) for effect in rule.need)
    for gap in rule.gap:
        first, last = (" or ".join(edge).replace("+", " + ") for edge in (gap.first, gap.last))
        look = text_of(gap.kind, protocol.kinds)
        days = counted(gap.days, "day", "days")
        yield f"no more than {days} between two looks from day {first} to {last}: {look}"
    if rule.ask:
        holds = f" It holds: {listed(rule.ask.holds)}." if rule.ask.holds else ""
        signs = "" if rule.ask.blocks else " The plan may be signed without the answer."
        yield f"asks: {rule.ask.text}{holds}{signs}"
    if rule.caution:
        yield f"says ({rule.caution.level}): {rule.caution.text}"
    if rule.tier:
        yield f"makes the pressure risk {RISK[rule.tier]}"
    if rule.before_leaving:
        leaving = rule.before_leaving
        hours = f"{leaving.earliest_hours} to {leaving.latest_hours} hours after surgery"
        yield f"before the patient leaves, {hours}: {leaving.text}"
    if rule.first_day is not None:
        yield f"drops begin on day {rule.first_day}"
    if rule.stops:
        yield f"stops {listed(rule.stops)}"
    if rule.holds:
        yield f"holds {listed(rule.holds)}"
    if rule.recall:
        yield f"stands in recall tier {rule.recall.tier} until day {rule.recall.days}"
    if rule.refuse:
        yield f"makes no plan: {rule.refuse.text}"


def _course(effect: CourseEffect) -> str:
    if effect.taper:
        instead = f" in the place of taper {effect.replaces}" if effect.replaces else ""
        return f"gives steroid by taper {effect.taper}{instead}"
    what = f"{effect.role} ({effect.medicine})" if effect.medicine else effect.role
    if effect.steps:
        return f"gives {what}: {_steps(effect.steps)}"
    count = f" {effect.count} a day" if effect.count else ""
    if effect.until_after_steroid is not None:
        return f"gives {what}{count} until {effect.until_after_steroid} days after the last steroid day"
    if effect.days:
        return f"gives {what}{count or ' by its label'} for {counted(effect.days, 'day', 'days')}"
    return f"gives {effect.medicine} as {effect.role}"


def _need(effect: NeedEffect, protocol: Protocol) -> str:
    edges = " - ".join(
        " or ".join(edge).replace("+", " + ") for edge in (effect.earliest, effect.target, effect.latest)
    )
    text = f"looks at {text_of(effect.kind, protocol.kinds)}: day {edges}"
    if effect.tiers != ("A", "B", "C"):
        text += f", tier {listed(effect.tiers, 'or')} only"
    if effect.steroid_days_min > 1:
        text += f", if the steroid runs {effect.steroid_days_min} days or more"
    if effect.weight != 1:
        text += f", a day off its target weighs {effect.weight}"
    if effect.unless_need:
        text += f", unless there is {effect.unless_need}"
    if effect.after:
        text += f", at the earliest {effect.after.earliest} days after {effect.after.need}"
    return text


def _tiers(protocol: Protocol) -> tuple[ProtocolEntry, ...]:
    found = []
    for name, tier in protocol.tiers.items():
        says = tuple(
            f"At most {g.limit} dates on {g.from_count} or more a day strictly between two checks."
            for g in tier.gaps
        )
        found.append(ProtocolEntry(f"Tier {name}", says, origin(tier)))
    long = protocol.long_nsaid
    text = f"Past {long.after_days} days: at most {long.gap} dates strictly between two looks at the cornea."
    return (*found, ProtocolEntry("NSAID", (text,), origin(long)))


def _above(protocol: Protocol) -> tuple[ProtocolEntry, ...]:
    return tuple(
        ProtocolEntry(
            protocol.formulary[one.medicine].label,
            (
                f"Up to {one.drops_a_day} a day for {counted(one.days, 'day', 'days')}.",
                f"Owned by {one.owner}: {one.reason}.",
            ),
        )
        for one in protocol.above_label
    ) or (ProtocolEntry("None", ("No course above its label is owned by this protocol.",)),)


def _medicine(medicine: Medicine) -> ProtocolEntry:
    says = [f"{medicine.role}, {medicine.form}, {listed(medicine.kinds)}"]
    if medicine.drops_per_bottle:
        says.append(f"{medicine.drops_per_bottle} drops a container, open for {medicine.open_days} days")
    if medicine.label_count:
        says.append(f"usually {medicine.label_count} a day")
    for label in medicine.labels:
        until = f" for {label.days} days" if label.days else ""
        says.append(
            f"label {label.country}: up to {label.drops_a_day} a day from day {label.from_day}{until}"
        )
    for length in medicine.label_days:
        only = f" ({length.only} only)" if length.only else ""
        says.append(f"label {length.country}: up to {length.days} days{only}")
    if medicine.excipients:
        says.append(f"holds {listed(medicine.excipients)}")
    return ProtocolEntry(f"{medicine.label} ({medicine.id})", tuple(map(sentence, says)), origin(medicine))


def _caution(rule: CautionRule) -> ProtocolEntry:
    conditions = rule.when_any or rule.when_all
    joined: str = listed((name.replace("_", " ") for name in conditions), "or" if rule.when_any else "and")
    text = _filled(rule.text)
    if rule.dense:
        joined += f", on {rule.dense.count} a day or more for over {rule.dense.over_days} days"
    says = [f"for {_selected(rule.applies)}", f"when {joined} ({rule.fires})", f"{rule.level}: {text}"]
    if rule.unless:
        says.append(f"answered by {listed(name.replace('_', ' ') for name in rule.unless)}")
    return ProtocolEntry(rule.id, tuple(map(sentence, says)), origin(rule))


def _duplicate(rule: DuplicateRule) -> ProtocolEntry:
    says = (f"for two of {_selected((rule.both,))}, {rule.where}", f"{rule.level}: {_filled(rule.text)}")
    return ProtocolEntry(rule.id, tuple(map(sentence, says)), origin(rule))


def _filled(text: str) -> str:
    """A text with its open places in words."""
    return fill(text, medicine="[medicine]", other="[other medicine]", days="[days]", count="[count]")


def _selected(selectors: Sequence[Selector]) -> str:
    return listed((_flat(s.model_dump(exclude_defaults=True).values()) for s in selectors), "or")


def _flat(values: Iterable[Any]) -> str:
    return " ".join(_flat(v) if isinstance(v, (tuple, list)) else str(v).replace("_", " ") for v in values)


def _fact(fact: FactDef) -> ProtocolEntry:
    said = fact.model_dump(
        mode="json", by_alias=True, exclude_none=True, exclude={"name", "about", "because", "source", "mark"}
    )
    names = {key: said.pop(key) for key in ("field", "any_of", "all_of") if key in said}
    tests = [f"field {names['field']}"] if "field" in names else []
    tests += [f"one of {listed(names['any_of'], 'or')}"] if "any_of" in names else []
    tests += [f"all of {listed(names['all_of'])}"] if "all_of" in names else []
    tests += [f"{key.replace('_', ' ')} {_value(value)}" for key, value in said.items() if value]
    source = origin(fact) if fact.source and fact.mark else ""
    return ProtocolEntry(fact.about.capitalize(), (sentence("; ".join(tests)),), source)


def _aftercare(protocol: Protocol) -> tuple[ProtocolEntry, ...]:
    care = protocol.aftercare
    advice = [ProtocolEntry(a.id, _how_long(a), origin(a)) for a in care.advice]
    return (
        ProtocolEntry("Drops", _plain(care.drops), origin(care.drops)),
        ProtocolEntry("A large cut", _plain(care.large), origin(care.large)),
        *advice,
    )


def _how_long(advice: Advice) -> tuple[str, ...]:
    """How long a sentence for the patient holds, and for whom."""
    said = []
    if advice.small is not None:
        inside = ", in the morning" if advice.ends == "morning" else ""
        said.append(f"Until day {advice.small}, after a large cut until day {advice.large}{inside}.")
    if advice.when:
        said.append(f"While {listed([STATES[name].about for name in advice.when])}.")
    if advice.until_look:
        said.append(f"Until this look has taken place: {advice.until_look.replace('-', ' ')}.")
    if advice.sex:
        said.append(f"For {advice.sex} patients alone.")
    if advice.ages:
        said.append(f"From {advice.ages.least} to {advice.ages.most} years of age.")
    if advice.asked:
        said.append("Only where a caution of the plan asks for it.")
    return tuple(said) or ("Always.",)


def _recall(protocol: Protocol) -> tuple[ProtocolEntry, ...]:
    rules = protocol.recall
    ladders = [
        ProtocolEntry(
            f"Tier {tier}",
            (
                sentence(
                    ", then ".join(
                        f"{rung.way} after {counted(rung.after, 'day', 'days')}" for rung in ladder.rungs
                    )
                ),
                f"Lost to follow-up may be said {rules.lost[tier].days} days past the last possible day.",
            ),
            origin(ladder),
        )
        for tier, ladder in rules.ladder.items()
    ]
    return (*ladders, ProtocolEntry("Messages", _plain(rules.messages), origin(rules.messages)))


def _settings(protocol: Protocol) -> tuple[ProtocolEntry, ...]:
    rounds, late = protocol.rounds, protocol.catch_up
    price = f"A clock time that is new to the patient must earn {rounds.price} hours squared times days."
    plain = {
        "A first look on closed days": protocol.closed_days,
        "Visits far ahead": protocol.promises,
        "An earlier operation on the eye": protocol.earlier_operation,
        "The pad": protocol.pad,
        "What a summary leaves out": protocol.summary,
        "Hourly drops": protocol.hourly,
        "Medicines from before the operation": protocol.from_before,
        "Looks that the surgeon adds": protocol.added_looks,
        "Early vision": protocol.early_vision,
        "Bands of vision": protocol.vision_bands,
        "The next bottle": protocol.supply,
        "A medicine whose entry says nothing else": protocol.usual_figures,
    }
    routine = (f"{field.replace('_', ' ')}: {value}" for field, value in protocol.routine.typed.items())
    return (
        ProtocolEntry("Rounds of the day", (price,), origin(rounds)),
        ProtocolEntry(
            "What the form of an operation starts from",
            tuple(map(sentence, routine)),
            origin(protocol.routine),
        ),
        ProtocolEntry("A look that was missed", (f"It is caught up within {late.days} days.",), origin(late)),
        *(ProtocolEntry(title, _plain(part), origin(part)) for title, part in plain.items()),
        *(
            ProtocolEntry(
                f"Reactions to a medicine: {group.reaction}",
                (f"Gravity {group.gravity}; of several reactions told the gravest counts.",),
                origin(group),
            )
            for group in protocol.cautions.names.reactions
        ),
    )


def _plain(part: BaseModel) -> tuple[str, ...]:
    """The fields of a small table as sentences, without its origin."""
    left = part.model_dump(mode="json", exclude={"because", "source", "mark"}, exclude_none=True)
    return tuple(sentence(f"{key.replace('_', ' ')}: {_value(value)}") for key, value in left.items())


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        return ", ".join(f"{key} {_value(v)}" for key, v in value.items()) or "anything"
    if isinstance(value, (list, tuple)):
        return listed((_value(v) for v in value), "or")
    if isinstance(value, float):
        return f"{value:g}"
    return str(value).replace("_", " ")
