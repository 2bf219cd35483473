"""How much is typed and pressed until an operation is stored with a plan that asks nothing told.

Counted by one script on whatever the page looks like: a form that grows is caught here.
"""

from __future__ import annotations

import pytest
from counted import Counted
from playwright.sync_api import expect

from followup.clinical.record import Conditions
from followup.records.plans.plans import plans_of
from followup.records.people.patients import newest_record, patient_by_code

WHO = {
    "patient.code": "K-104",
    "patient.name": "Wanjiru Ndegwa",
    "patient.sex": "female",
    "patient.birth_year": "1955",
    "patient.language": "en",
    "patient.telephones.0.number": "+44 20 7946 0123",
    "patient.drops_by.who": "relative",
}
EYE = {
    "operations.0.eye_drawn": "right",
    "operations.0.eye": "right",
    "operations.0.surgeon": "Dr Sen",
    "operations.0.anaesthesia": "drops",
    "operations.0.cut_mm": "2.4",
    "patient.eyes.right.pressure_before": "15",
}
END = {
    "operations.0.viscoelastic.removed": "all",
    "operations.0.antibiotic_in_chamber": "yes",
    "operations.0.antibiotic": "cefuroxime-chamber",
}
UVEITIS = {
    "patient.allergies.0.to": "sulfonamide",
    "patient.conditions.diabetes": "without retinopathy",
    "patient.eyes.right.uveitis": "yes",
    "patient.eyes.right.uveitis.kind": "anterior",
    "patient.eyes.right.uveitis.last_active": "2026-09-21",
    "patient.eyes.right.uveitis.herpetic": "no",
    "patient.eyes.right.uveitis.infection_excluded": "yes",
}
HARD = {
    "operations.0.pupil_before_mm": "3.5",
    "operations.0.synechiae_broken": "yes",
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
ILLNESSES = [name for name, field in Conditions.model_fields.items() if field.annotation == bool | None]


def asked_of(illnesses: list[str]) -> dict[str, str]:
    return {f"patient.conditions.{name}": "no" for name in illnesses}


def test_count(person):
    for name, story in {"routine": WHO | asked_of(ILLNESSES) | EYE | END, "hard": WHO | asked_of(ILLNESSES) | UVEITIS | EYE | HARD | END}.items():
        who = person()
        who.log_in("counsellor")
        who.go("/operations/new")
        print("HEIGHT", who.page.evaluate("document.body.scrollHeight"))
        told = Counted(who.page)
        told.tell(story)
        told.press("button.main[name='save']")
        print(who.page.url, name, told.fields, told.clicks)
        print(who.page.locator("main").inner_text()[:300])
        who.page.set_viewport_size({"width": 390, "height": 844}); who.go("/operations/new")
        print("HEIGHT phone", who.page.evaluate("document.body.scrollHeight"))
        who.log_out()
        import re
        with who.served.store.read() as s:
            p=plans_of(s, patient_by_code(s,"K-104").id)[0]
            print([q.id for q in p.body.questions])
        story["patient.code"]="K-105"
        WHO["patient.code"]="K-105"
