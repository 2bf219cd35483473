"""Why someone must be reached, in a few words of the staff's language: the most pressing reason alone."""

from __future__ import annotations

from followup.language.catalogues import N_, NN_, Translator
from followup.language.dates import short_date
from followup.recall.reach.line import ToReach

# Translators: %(check)s is what was to be looked at, such as "eye pressure on steroid".
_OVERDUE = NN_("%(check)s, overdue %(days)s day", "%(check)s, overdue %(days)s days")
_PLAN_BY_HAND = N_("plan by hand")
_FIRST_LOOK = N_("plan by hand, first look by %(by)s")
_QUESTIONS = NN_(
    "plan waits for the surgeon: %(questions)s question",
    "plan waits for the surgeon: %(questions)s questions",
)
_DECISION = N_("plan waits for the surgeon's decision")
_SIGNATURE = N_("plan waits for the signature since %(since)s")
_OTHERS = {
    "damaged": N_("entry damaged: work from the paper"),
    "left unseen": N_("here on %(since)s, left without findings"),
    "plan again": N_("here on %(seen)s after a missed visit: plan again"),
    "closed day": N_("visit on %(since)s: not offered on this day"),
    "new version": N_("plan signed on %(since)s, sheet not handed over"),
}


def brief(item: ToReach, check: str, words: Translator) -> str:
    """The most pressing reason in a few words, days without their year. ``check``: what is at stake."""
    values = {
        "check": check,
        "days": item.days,
        "questions": item.questions,
        "by": short_date(item.due_by, words.language) if item.due_by else "",
        "since": short_date(item.since, words.language),
        "seen": short_date(item.seen, words.language) if item.seen else "",
    }
    return _template(item, words) % values


def _template(item: ToReach, words: Translator) -> str:
    if item.kind == "overdue":
        return words.ngettext(*_OVERDUE, item.days)
    if item.kind == "plan by hand":
        return words.gettext(_FIRST_LOOK if item.due_by else _PLAN_BY_HAND)
    if item.kind == "plan incomplete":
        if item.questions:
            return words.ngettext(*_QUESTIONS, item.questions)
        return words.gettext(_DECISION if item.blocked else _SIGNATURE)
    return words.gettext(_OTHERS[item.kind])
