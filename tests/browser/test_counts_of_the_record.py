"""How much is typed and pressed until an operation is stored with a plan that asks nothing told.

Counted by one script on whatever the page looks like: a form that grows is caught here.
"""

from __future__ import annotations

import pytest
from counted import Counted

from followup.records.people.patients import newest_record, patient_by_code
from followup.records.plans.plans import plans_of

WHO = {
    "patient.code": "K-104",
    "patient.name": "Wanjiru Ndegwa",
    "patient.sex": "female",
    "patient.birth_year": "1955",
    "patient.language": "en",
    "patient.telephones.0.number": "+44 20 7946 0123",
    "patient.drops_by.who": "relative",
    "patient.no_other_allergy": "yes",
    "none:patient.conditions.": "yes",
}
EYE = {
    "operations.0.eye_drawn": "right",
    "operations.0.eye": "right",
    "operations.0.surgeon": "Dr Sen",
    "none:patient.eyes.right.": "yes",
    "patient.eyes.right.pressure_before": "15",
    "operations.0.anaesthesia": "drops",
    "operations.0.cut_mm": "2.4",
}
END = {
    "operations.0.antibiotic_in_chamber": "yes",
    "operations.0.antibiotic": "cefuroxime-chamber",
    "operations.0.viscoelastic.removed": "all",
}
ILL = {
    "patient.conditions.diabetes": "without retinopathy",
    "patient.eyes.right.uveitis": "yes",
    "patient.eyes.right.uveitis.kind": "anterior",
    "patient.eyes.right.uveitis.last_active": "21 9 2026",
    "patient.eyes.right.uveitis.herpetic": "no",
    "patient.eyes.right.uveitis.infection_excluded": "yes",
}
# What a surgeon does not tell, pressed after the reading.
REST = {
    "none:patient.conditions.": "yes",
    "patient.eyes.right.uveitis.last_active": "21 9 2026",
    "patient.eyes.right.uveitis.herpetic": "no",
    "patient.eyes.right.uveitis.infection_excluded": "yes",
    "operations.0.steroid.0.crystals_seen_after": "no",
}
HARD = {
    "operations.0.pupil_before_mm": "3.5",
    "operations.0.synechiae_broken": "yes",
    "operations.0.synechiae_degrees": "180",
    "operations.0.pupil_widened": ["ring"],
    "operations.0.chamber": "shallow",
    "operations.0.pressure_from_behind": "yes",
    "operations.0.steroid.0.medicine": "triamcinolone-injection",
    "operations.0.steroid.0.mg": "2",
    "operations.0.steroid.0.place": "chamber",
    "operations.0.steroid.0.form": "crystals",
    "operations.0.steroid.0.purpose": "show vitreous",
    "operations.0.steroid.0.fate": "washed out",
    "operations.0.steroid.0.crystals_seen_after": "no",
}


# The hard operation and its eye as a surgeon tells them, in the order in which it happened.
TOLD = """Right eye, phaco, drops for anaesthesia, 2.4 mm incision. Pupil 3.5 mm, posterior synechiae over
180 degrees freed, expansion ring. Shallow chamber, positive vitreous pressure. Triamcinolone crystals 2 mg
into the anterior chamber, to show vitreous, washed out at the end, no crystals seen afterwards. No vitreous
loss. Lens in the bag. Viscoelastic all removed, cefuroxime in the chamber. Anterior uveitis. Pressure before
surgery 15 mmHg. Diabetic, no retinopathy."""


@pytest.fixture
def entered(served, person):
    """Tells a story at the counsellor's desk; its count and the questions of the plan that it leads to."""

    def enter(story, sulfa=False, text=""):
        who = person()
        who.comes_as("counsellor", "/operations/new")
        told = Counted(who.page)
        if sulfa:
            told.press(".allergy label:has([value='sulfonamide'])")
        told.tell(story)
        if text:
            told.tell({"told.text": text})
            # The page that comes back is another: on the old one nothing of it can be answered.
            who.follow_by(lambda: told.press("button[name='read']"))
            told.tell(REST)
        told.press("button.main[name='save']")
        who.page.wait_for_url("**/plans/*")
        with served.store.read() as session:
            patient = patient_by_code(session, "K-104").id
            plan, record = plans_of(session, patient)[0], newest_record(session, patient).record
        return told, {question.id for question in plan.body.questions}, record

    return enter


def test_a_routine_operation_takes_at_most_twelve_fields_and_fourteen_clicks(entered):
    told, questions, record = entered(WHO | EYE | END)
    assert told.fields <= 12
    assert told.clicks <= 14
    assert not questions
    assert record.patient.conditions.asthma is False
    assert record.patient.eyes.right.glaucoma is False
    assert record.patient.eyes.left.glaucoma is None, "of the other eye nothing was said"


def test_the_hard_operation_takes_at_most_twenty_six_fields_and_is_asked_nothing_twice(entered):
    told, questions, record = entered(WHO | ILL | EYE | HARD | END, sulfa=True)
    assert told.fields <= 26
    # What was told is not asked again; the surgeon's own choice about the angle is no told fact.
    assert questions == {"cycloplegic-angle"}
    (given,) = record.operations[0].steroid
    assert (given.purpose, given.fate, given.crystals_seen_after) == ("show vitreous", "washed out", False)
    assert [(one.to, one.reaction) for one in record.patient.allergies] == [("sulfonamide", "not known")]
    assert record.patient.conditions.tuberculosis is False
    assert record.operations[0].synechiae_degrees == 180


def test_the_hard_operation_as_it_was_told_takes_fewer_fields_and_presses_and_leads_to_the_same(entered):
    who = {name: answer for name, answer in EYE.items() if "eye" in name.split(".")[-1] or "surgeon" in name}
    first = {name: answer for name, answer in WHO.items() if name not in REST}
    told, questions, record = entered(first | who, sulfa=True, text=TOLD)
    assert told.fields <= 8
    assert told.clicks <= 12
    assert questions == {"cycloplegic-angle"}
    operation, eye = record.operations[0], record.patient.eyes.right
    assert (operation.cut_mm, operation.pupil_before_mm, operation.synechiae_degrees) == (2.4, 3.5, 180)
    assert (operation.pupil_widened, operation.chamber, operation.anaesthesia) == (
        ("ring",),
        "shallow",
        "drops",
    )
    (given,) = operation.steroid
    assert (given.mg, given.purpose, given.fate) == (2, "show vitreous", "washed out")
    assert (eye.uveitis.kind, eye.pressure_before, operation.viscoelastic.removed) == ("anterior", 15, "all")
