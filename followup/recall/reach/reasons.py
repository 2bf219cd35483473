"""Why someone is on the list to reach, in whole sentences of the staff's language."""

from __future__ import annotations

from datetime import date

from followup.clinical.protocol.recall import Way
from followup.language.catalogues import N_, NN_, Translator
from followup.language.dates import told_date
from followup.recall.reach.line import ToReach

_MISSED = N_("The patient did not come to the visit.")
_FIRST_LOOK_BY = N_("The first look must be by %(by)s.")
_LAST_DAY = N_("The last day for this check is %(by)s.")
_SEEN = N_(
    "The patient was here on %(seen)s, after a visit was missed: what was missed must be planned again."
)
_SEEN_IN_TIME = N_(
    "The patient missed a visit but was here on %(seen)s, in time for it: "
    "say whether it was looked at then, and plan again what was not."
)
_LEFT = N_(
    "The patient was here on %(since)s and left without findings: say what was looked at, "
    "or have the patient come again."
)
_CLOSED = N_(
    "On %(since)s, the day of the visit, the clinic does not offer what it is for: "
    "move the visit and tell the patient."
)
_DAMAGED = N_(
    "An entry of this patient is damaged and can't be read: work from the paper, "
    "and tell whoever looks after the computer."
)
# What to try next, with the day from which on.
_NEXT: dict[Way, str] = {
    "call": N_("Next: call, from %(on)s on."),
    "second contact": N_("Next: call the second contact, from %(on)s on."),
    "community worker": N_("Next: send the community worker, from %(on)s on."),
    "surgeon": N_("Next: tell the surgeon, from %(on)s on."),
}
_Message = tuple[str, str | None]


def reason(item: ToReach, words: Translator, year: int | None = None) -> str:
    """Every reason for which this person is on the list, the most pressing first; then what to try next.

    ``year``: the one that everybody is in, and days are told without.
    """
    reasons = [said(each, words, year) for each in (item, *item.also)]
    if item.next is not None:
        reasons.append(words.gettext(_NEXT[item.next.way]) % {"on": _day(item.next.on, words, year)})
    return " ".join(dict.fromkeys(reasons))


def said(item: ToReach, words: Translator, year: int | None = None) -> str:
    """This reason alone, without the others of the same person."""
    values = {
        "by": _day(item.due_by, words, year),
        "since": _day(item.since, words, year),
        "seen": _day(item.seen, words, year),
        "days": item.days,
        "questions": item.questions,
    }
    return " ".join(_sentence(words, *message, item) % values for message in _messages(item))


def _day(day: date | None, words: Translator, year: int | None) -> str:
    return told_date(day, words.language, year) if day else ""


def _messages(item: ToReach) -> list[_Message]:
    """The sentences, each with its plural form where it counts something."""
    first_look: list[_Message] = [(_FIRST_LOOK_BY, None)] if item.due_by else []
    if item.kind == "damaged":
        return [(_DAMAGED, None)]
    if item.kind == "left unseen":
        return [(_LEFT, None), *([(_LAST_DAY, None)] if item.due_by else [])]
    if item.kind == "closed day":
        return [(_CLOSED, None)]
    if item.kind == "plan again":
        return [(_SEEN_IN_TIME if item.seen_in_time else _SEEN, None)]
    if item.kind == "overdue":
        counted = NN_(
            "Overdue for %(days)d day: the last day for this check was %(by)s.",
            "Overdue for %(days)d days: the last day for this check was %(by)s.",
        )
        return [counted, (_MISSED, None)] if item.missed else [counted]
    if item.kind == "plan by hand":
        by_hand = N_("The protocol makes no plan for this patient: the surgeon plans by hand.")
        return [(by_hand, None), *first_look]
    if item.kind == "plan incomplete":
        return [_incomplete(item), *first_look]
    return [(N_("A plan was signed on %(since)s and its sheet is not in the patient's hands yet."), None)]


def _incomplete(item: ToReach) -> _Message:
    if item.questions:
        return NN_(
            "The plan waits for the surgeon's answer to %(questions)d question.",
            "The plan waits for the surgeon's answers to %(questions)d questions.",
        )
    if item.blocked:
        return N_("The plan waits for the surgeon's decision about a caution or a check."), None
    return N_("The plan has been waiting for the surgeon's signature since %(since)s."), None


def _sentence(words: Translator, singular: str, plural: str | None, item: ToReach) -> str:
    if plural is None:
        return words.gettext(singular)
    return words.ngettext(singular, plural, item.days if item.kind == "overdue" else item.questions)
