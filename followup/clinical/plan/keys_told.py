"""The keys of a plan in the words of those who read it: a course, a look, a limit, a rule, a question."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from followup.clinical.careplan import CarePlan, CheckGap, Course, Overridden, Tier
from followup.clinical.english import capital, counted, day_words, joined, listed, sentence
from followup.clinical.protocol.formulary import label_of
from followup.clinical.protocol.protocol import Protocol, text_of
from followup.clinical.record import Eye
from followup.clinical.statuses import CAME
from followup.said import say

RISK: dict[Tier, str] = {"A": "high", "B": "middle", "C": "low"}
"""The pressure risk of an eye for people; the letters stand in the protocol's files and in JSON."""

LOST = say("a look of an earlier plan")
"""What a need is called that neither plan nor protocol knows any more."""

ROLES = {
    "nsaid": "NSAID",
    "steroid tablet": say("steroid tablets"),
    "salt": say("salt drops"),
    "pressure": say("pressure drop"),
    "lubricant": "lubricant",
}

CHOICES = {
    "responder_course": say("course for an eye that rises on steroid"),
    "depot_course": say("course after a depot"),
    "steroid_in_responder": say("steroid put into an eye that rises on it"),
    "cycloplegic": say("pupil-widening drop"),
    "nsaid": say("NSAID drop"),
    "steroid_with_inhibitor": say("steroid beside a strong inhibitor"),
}
"""The surgeon's choices as a sentence names them."""


def look_of_protocol(key: str, protocol: Protocol) -> str:
    """What a need looks at that its plan no longer has: its kind, where the protocol knows it."""
    name = key.partition(":")[2]
    kinds = (need.kind for rule in protocol.rules for need in rule.need if need.id == name)
    # Of several rules with a need of this name the last one counts.
    kind = next(iter(list(kinds)[::-1]), "")
    return text_of(kind, protocol.kinds) if kind else LOST


class PlanNames:
    """What the keys of one plan are called."""

    def __init__(self, plan: CarePlan, protocol: Protocol) -> None:
        self._plan, self._protocol = plan, protocol
        self._courses = {course.key: course for course in plan.courses}
        self._needs = {need.key: need for need in plan.needs}
        self._gaps = {gap.key: gap for gap in plan.gaps}

    def medicine(self, key: str) -> str:
        """Name and strength."""
        return label_of(key, self._protocol.formulary)

    def course(self, key: str) -> str:
        """Such as "Dexamethasone 0.1%, left eye"; what this plan does not have, without its key."""
        course = self._courses.get(key)
        return self.of_course(course) if course else say("a course that this plan does not have")

    def of_course(self, course: Course) -> str:
        return joined((self.medicine(course.medicine), where(course.eye)), ", ")

    def courses(self, keys: Iterable[str]) -> str:
        """Several, each once."""
        return listed(dict.fromkeys(self.course(key) for key in keys))

    def look(self, key: str) -> str:
        """What a need looks at; one that the plan no longer has goes by its kind in the protocol."""
        need = self._needs.get(key)
        words = text_of(need.kind, self._protocol.kinds) if need else look_of_protocol(key, self._protocol)
        eye = need.eye if need else None
        return say("{words} ({eye} eye)", words=words, eye=eye) if eye and len(self._eyes) > 1 else words

    def looks(self, keys: Iterable[str]) -> str:
        """What a visit is for, each thing once."""
        return joined(dict.fromkeys(self.look(key) for key in keys), "; ")

    def kept(self, key: str) -> str:
        """What can't be kept: a look, a limit between two, or a visit that can't move."""
        if key in self._gaps:
            return say("{eye} eye, {look}", eye=self._gaps[key].eye, look=self.watched(self._gaps[key]))
        if key.startswith("trip:"):
            return say(
                "the visit on {day}",
                day=day_words(date.fromisoformat(key.removeprefix("trip:"))),
            )
        return self.look(key)

    def watched(self, gap: CheckGap) -> str:
        """What a limit watches, in words."""
        kinds = {"pressure": say("pressure check"), "cornea": say("look at the stained cornea")}
        if gap.kind in kinds:
            return kinds[gap.kind]
        return text_of(gap.need or gap.kind, self._protocol.kinds)

    def limit(self, gap: CheckGap) -> str:
        """Such as "Pressure check: no more than 28 days on steroid without one (last on 31 March 2026)."""
        watched = capital(self.watched(gap))
        if gap.first is not None and gap.last is not None:
            return say(
                "{watched}: no more than {limit} between two looks, from {first} to {last}.",
                watched=watched,
                limit=counted(gap.limit + 1, "day", "days"),
                first=day_words(gap.first),
                last=day_words(gap.last),
            )
        drops = say("an NSAID") if gap.kind == "cornea" else "steroid"
        least = (
            say("{from_count} drops or more a day of {drops}", from_count=gap.from_count, drops=drops)
            if gap.from_count > 1
            else drops
        )
        last = self._last_seen(gap.eye)
        since = joined(("", say("(last on {last})", last=day_words(last)))) if last else ""
        return say(
            "{watched}: no more than {limit} on {least} without one{since}.",
            watched=watched,
            limit=counted(gap.limit, "day", "days"),
            least=least,
            since=since,
        )

    def _last_seen(self, eye: Eye) -> date | None:
        """The last visit that took place; every visit measures the pressure."""
        done = [t.date for t in self._plan.trips if t.status in CAME]
        return max(done, default=None) if eye else None

    def rule(self, key: str) -> str:
        """Why a rule of this plan says what it says, in its own sentence; its words where it has none."""
        rule = next((rule for rule in self._protocol.rules if rule.id == key), None)
        return sentence(rule.because) if rule else sentence(key)

    def gave_way(self, lost: Overridden) -> str:
        """What something asked for and did not get, and to what it gave way."""
        winners = [name for name in lost.lost_to.replace(" and ", ", ").split(", ") if name]
        known = {rule.id for rule in self._protocol.rules}
        lost_to = joined(self.rule(name) for name in winners)
        to = lost_to if known >= set(winners) else sentence(lost.lost_to)
        gave_way = say("Set aside for: {to}", to=to)
        return joined((sentence(lost.wanted), sentence(lost.reason.because), gave_way))

    def taper(self, name: str) -> str:
        """The name of a taper in words; of several, each."""
        tapers = self._protocol.tapers
        return listed(tapers[n].words if n in tapers else n for n in name.split(" and "))

    def waits_for(self, ids: Iterable[str]) -> str:
        """What holds a course: the question, or the caution, in words."""
        asked = {question.id: question.text for question in self._plan.questions}
        warned = {caution.id: caution.text for caution in self._plan.cautions}
        found = dict.fromkeys(asked.get(name) or warned.get(name) or "" for name in ids)
        return joined(sentence(text) for text in found if text) or say("A decision of the surgeon is open.")

    @property
    def _eyes(self) -> frozenset[str]:
        return frozenset(self._plan.tiers) or frozenset(n.eye for n in self._plan.needs if n.eye)


def role_words(role: str) -> str:
    """A kind of course as the trade calls it."""
    return ROLES.get(role, role)


def where(eye: Eye | None) -> str:
    return say("{eye} eye", eye=eye) if eye else say("by mouth")
