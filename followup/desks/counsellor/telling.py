"""The box "What was told" beside the record's form: read at one press, asked, sent with the record."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace
from functools import cached_property

from followup.care.fields.values import rows
from followup.care.records.telling import OperationTold, Read, ToRead, read
from followup.clinical.record import Eye
from followup.desks.door.hand import DeskHand
from followup.desks.forms.told import CarriedForm, Where, carried, read_into, said
from followup.desks.forms.told_view import ToldView, view_of
from followup.desks.page.posted import Posted, number_of
from followup.errors import FollowupError
from followup.records.views import RecordVersion
from followup.said import say
from followup.telling.lexicon import languages

TEXT, LANGUAGE, OPERATION, KEY = "told.text", "told.language", "told.operation", "told.key"
NO_EYE = say("say first which eye was operated on, and point at it; then read what was told")
NOT_READ = say("what was told had not been read as it stands now; look at what was read, then save")
TAKEN_OUT = say("what was told is gone, and what was read from it was taken out; look it over, then save")
NOT_ANSWERED = say("what was told is doubtful in places; answer each of them, then save")


@dataclass(frozen=True)
class ToldForm:
    """A posted form with what was told in it. ``form`` holds the record's fields alone, the answers that were
    pressed among them; ``version`` is what is stored of the record already."""

    hand: DeskHand
    form: Posted
    kept: CarriedForm
    posted: Posted
    version: RecordVersion | None

    @classmethod
    def of(cls, hand: DeskHand, posted: Posted, version: RecordVersion | None) -> ToldForm:
        form, kept = carried(posted)
        mine = {name: form.pop(name) for name in list(form) if name.startswith("told.")}
        return cls(hand, form, kept, mine, version)

    @property
    def text(self) -> str:
        return next(iter(self.posted.get(TEXT, ())), "")

    @property
    def language(self) -> str:
        """The language it is read in: the one that was picked, that of whoever reads it, or English."""
        wanted = (*said(self.posted, LANGUAGE), self.hand.language, "en")
        return next(tag for tag in wanted if tag in languages())

    @property
    def changed(self) -> bool:
        """Whether the text, the eye or the operation is another one than what was read, or nothing was."""
        return bool(self.text.strip() or self.kept.read) and said(self.posted, KEY) != [self._key]

    @cached_property
    def where(self) -> Where | None:
        """None while the eye is not given twice and both times the same."""
        head = f"operations.{self._operation}."
        eyes: tuple[Eye, ...] = ("right", "left")
        named = [said(self.form, head + name) for name in ("eye", "eye_drawn")]
        eye = next((eye for eye in eyes if named == [[eye], [eye]]), None)
        stored = len(self.version.record.operations) if self.version else 0
        usual = self.hand.protocol.routine.typed if self._operation >= stored else {}
        return eye and Where(eye, self._operation, {head + name: answer for name, answer in usual.items()})

    def read_now(self) -> tuple[Posted, ToldView]:
        """The form with what is read from the text as it stands, in place of what was read before."""
        if self.where is None:
            return self.form, self._unread(NO_EYE, self.kept)
        if not self.text.strip() and self.kept.read:
            return self._cleared(TAKEN_OUT)
        try:
            found = self._found
        except FollowupError as exc:
            return self._cleared(exc.line)
        form, kept = read_into(self.form, self.kept, found, self.where)
        return form, self._with_key(view_of(form, found, kept, self.where))

    @cached_property
    def view(self) -> ToldView:
        """The box as it stands, nothing read anew."""
        if self.where is None or not self.text.strip() or self.changed:
            return self._unread("", self.kept)
        return self._with_key(view_of(self.form, self._found, self.kept, self.where))

    @property
    def act(self) -> OperationTold | None:
        """What goes with the record; None where nothing was told."""
        if self.where is None or not self.text.strip():
            return None
        doubtful = [one.field for one in self._found.telling.fields if one.kind == "doubtful"]
        named = {field: self.kept.name(field, self.where) for field in doubtful}
        answered = [field for field, name in named.items() if not name or name in self.kept.answered]
        return OperationTold(
            text=self.text, language=self.language, operation=self._operation, answered=tuple(answered)
        )

    def _cleared(self, problem: str) -> tuple[Posted, ToldView]:
        """Nothing was read: what an earlier reading left in the form goes, what was typed stays."""
        assert self.where is not None
        form, kept = read_into(self.form, self.kept, None, self.where)
        return form, self._unread(problem, kept)

    def _unread(self, problem: str, kept: CarriedForm) -> ToldView:
        hidden = (*kept.hidden(self.form), *((KEY, key) for key in said(self.posted, KEY) if kept.read))
        return ToldView(self.text, self.language, problem, hidden=hidden)

    @cached_property
    def _found(self) -> Read:
        """What is read from the text as it stands, once a request. Only where the eye is given."""
        assert self.where is not None
        return read(self.hand, ToRead(text=self.text, eye=self.where.eye, language=self.language))

    def _with_key(self, view: ToldView) -> ToldView:
        mine = ((KEY, self._key), (OPERATION, str(self._operation)))
        return replace(view, hidden=(*view.hidden, *mine))

    @property
    def _operation(self) -> int:
        last = max(rows(self.form, "operations"), 1) - 1
        given = said(self.posted, OPERATION)
        return min(number_of(given[0]), last) if given and self.text.strip() else last

    @cached_property
    def _key(self) -> str:
        where = self.where
        told = [self.text, self.language, where and where.eye, self._operation]
        return hashlib.sha256(json.dumps(told).encode()).hexdigest()
