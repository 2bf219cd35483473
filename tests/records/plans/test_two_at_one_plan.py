"""Two people at one plan: whoever comes second, from what they saw before, is told and changes nothing."""

from __future__ import annotations

import pytest

from followup.errors import FollowupError
from followup.records.people.patients import correct_record, record_versions
from followup.records.plans.plans import end_plan, plans_of, sign_plan, store_draft
from followup.records.plans.sheets import hand_over_sheet, issue_sheet, sheets_of
from followup.records.store.journal import journal_of


class _Case:
    """A patient with a plan in force, its sheet printed, and a draft that waits: both have them in view."""

    def __init__(self, ward, code: str) -> None:
        self.ward, self.code = ward, code
        self.signed = ward.signed(code)
        self.who = self.signed.patient_id
        self.sheet = f"{self.signed.id:010d}"
        self._write(ward.counsellor, issue_sheet, plan_id=self.signed.id, sheet_id=self.sheet, language="en")
        self.draft = ward.draft(self.who, ward.body(code))

    def _write(self, actor, use_case, **given):
        with self.ward.store.write(actor, self.ward.now) as unit:
            return use_case(unit, **given)

    def drafts(self, actor, reason: str = "") -> None:
        given = {"patient_id": self.who, "record_number": 1, "body": self.ward.body(self.code)}
        self._write(actor, store_draft, **given, reason=reason, seen=self.draft.number)

    def corrects(self, actor, **patient) -> None:
        record = self.ward.record(self.code, **(patient or {"can_read": False}))
        self._write(actor, correct_record, patient_id=self.who, record=record, seen=1)

    def signs(self, actor) -> None:
        self._write(actor, sign_plan, plan_id=self.draft.id)

    def ends_the_draft(self, actor) -> None:
        self._write(actor, end_plan, plan_id=self.draft.id, completed=False, reason="not needed")

    def ends_the_plan(self, actor) -> None:
        self._write(actor, end_plan, plan_id=self.signed.id, completed=True, reason="healed")

    def prints(self, actor) -> None:
        given = {"plan_id": self.signed.id, "sheet_id": f"S{self.signed.id:09d}", "language": "en"}
        self._write(actor, issue_sheet, **given, reason="lost")

    def hands_over(self, actor) -> None:
        self._write(actor, hand_over_sheet, sheet_id=self.sheet, to="daughter")

    def stands(self) -> tuple[object, ...]:
        with self.ward.store.read() as session:
            return (
                plans_of(session, self.who),
                record_versions(session, self.who),
                sheets_of(session, self.who),
                self.ward.trips(self.signed),
                journal_of(session, f"patient:{self.code}"),
            )


SURGEON, OTHER, COUNSELLOR, RECEPTION = "surgeon", "other_surgeon", "counsellor", "reception"
# What the first does, what the second then does from the same screen, and what the second is told.
PAIRS = [
    ((COUNSELLOR, "drafts"), (SURGEON, "drafts"), "plan.changed", "mira made plan 3"),
    ((SURGEON, "drafts"), (OTHER, "signs"), "plan.replaced", "sen made plan 3"),
    ((COUNSELLOR, "corrects"), (SURGEON, "signs"), "plan.stale", "version 2"),
    ((COUNSELLOR, "corrects"), (SURGEON, "drafts"), "plan.stale", "version 2"),
    ((COUNSELLOR, "corrects"), (SURGEON, "corrects"), "record.changed", "mira changed this record"),
    ((SURGEON, "signs"), (OTHER, "signs"), "plan.signed", "Dr Sen has already signed plan 2"),
    ((SURGEON, "signs"), (OTHER, "ends_the_plan"), "plan.ended", "ended already"),
    ((SURGEON, "signs"), (COUNSELLOR, "prints"), "sheet.plan", "only a signed plan in force"),
    ((SURGEON, "signs"), (COUNSELLOR, "hands_over"), "sheet.replaced", "a newer plan exists"),
    ((SURGEON, "ends_the_draft"), (OTHER, "signs"), "plan.replaced", "plan 2 meanwhile (revoked)"),
    ((SURGEON, "ends_the_plan"), (OTHER, "ends_the_plan"), "plan.ended", "ended already"),
    ((SURGEON, "ends_the_plan"), (COUNSELLOR, "prints"), "sheet.plan", "only a signed plan in force"),
    ((RECEPTION, "hands_over"), (COUNSELLOR, "hands_over"), "sheet.handed_over", "to daughter"),
]


@pytest.mark.parametrize(("first", "second", "code", "said"), PAIRS)
def test_the_second_is_told_what_the_first_did_and_changes_nothing(shared_ward, first, second, code, said):
    case = _Case(shared_ward, f"K-{first[1]}-{second[1]}".replace("_", "-")[:20])
    before = case.stands()
    getattr(case, first[1])(getattr(shared_ward, first[0]))
    after = case.stands()
    assert after != before
    with pytest.raises(FollowupError) as caught:
        getattr(case, second[1])(getattr(shared_ward, second[0]))
    assert caught.value.code == code
    assert said in caught.value.what
    assert case.stands() == after
