"""A sheet is printed as the patient needs it wherever it is printed from; what somebody chooses wins."""

from __future__ import annotations

from dataclasses import replace

import pytest

from followup.care.sheets.content import printed_options
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.plans.sheets import issue_sheet, sheets_of
from followup.records.views import SYSTEM
from followup.sheets.options import SheetOptions

PASSWORD = "a long enough password"
# How it is set is not looked at here.
pytestmark = pytest.mark.usefixtures("empty_paper")
NEEDED = SheetOptions(pictures=True, twin="bn")
RECORD = {
    "patient": {
        **{"code": "K-104", "name": "Wanjiru Ndegwa", "birth_year": 1955, "language": "en"},
        **{"second_language": "bn", "can_read": False, "drops_by": {"who": "relative"}},
    },
    "operations": [
        {
            **{"eye": "right", "eye_drawn": "right", "date": "2027-03-01", "cut_mm": 2.4, "stitches": 0},
            **{"procedure": "phacoemulsification", "chamber": "normal", "lens": "bag"},
            "viscoelastic": {"removed": "all"},
        }
    ],
}


@pytest.fixture
def counsellor(house):
    return house.enter("counsellor")


@pytest.fixture
def plan(house, counsellor) -> int:
    """A signed plan of someone who can not read English, and has a helper who reads Bengali."""
    house.sign_protocol()
    plan = counsellor.post("/api/records", json={"record": RECORD}).json()["plan"]
    surgeon = house.log_in("surgeon")
    assert surgeon.post(f"/api/plans/{plan}/sign", json={"password": PASSWORD}).status_code == 200
    return plan


@pytest.fixture
def printed(house, plan):
    """How the newest sheet of the plan was printed."""

    def of_the_newest() -> SheetOptions:
        with house.store.read() as session:
            return printed_options(session, sheets_of(session, 1)[-1].id)

    return of_the_newest


@pytest.fixture
def shown(monkeypatch):
    """What would have been set as a draft, in place of setting it."""
    contents = []

    def kept(content):
        contents.append(content)
        return b"%PDF-"

    monkeypatch.setattr("followup.desks.api.sheets.render_pdf", kept)
    monkeypatch.setattr("followup.desks.counsellor.sheets.render_pdf", kept)
    return contents


def _ticks_days(house, wanted: bool = True) -> None:
    with house.store.write(SYSTEM, house.clock()) as unit:
        put_clinic(unit, replace(get_clinic(unit.session), days_to_tick=wanted))


def test_whoever_can_not_read_gets_pictures_from_the_page_of_the_plan(counsellor, plan, printed, form_of):
    form = form_of(counsellor.get(f"/plans/{plan}").text, f"/plans/{plan}/sheets")
    assert counsellor.post(f"/plans/{plan}/sheets", data=form).status_code == 303
    assert printed() == NEEDED


def test_whoever_can_not_read_gets_pictures_from_the_page_with_the_choices(
    counsellor, plan, printed, form_of
):
    page = counsellor.get(f"/plans/{plan}/preview").text
    form = form_of(page, f"/plans/{plan}/sheets")
    assert counsellor.post(f"/plans/{plan}/sheets", data=form).status_code == 303
    assert printed() == NEEDED


def test_whoever_can_not_read_gets_pictures_from_the_json_interface(counsellor, plan, printed):
    assert counsellor.post(f"/api/plans/{plan}/sheets", json={"printed": 0}).status_code == 200
    assert printed() == NEEDED
    other = {"printed": 1, "reason": "for another printer", "size": "normal", "paper": "Letter"}
    assert counsellor.post(f"/api/plans/{plan}/sheets", json=other).status_code == 200
    assert printed() == replace(NEEDED, paper="Letter")


@pytest.mark.parametrize("path", ["/operations/sheets", "/api/operations/sheets?on=2027-03-01"])
def test_whoever_can_not_read_gets_pictures_from_the_sheets_of_a_day(counsellor, plan, printed, path):
    assert counsellor.post(path, data={"on": "2027-03-01"}).status_code in (204, 303)
    assert printed() == NEEDED


@pytest.mark.parametrize("api", ["", "/api"])
def test_whoever_can_not_read_gets_pictures_from_a_draft(counsellor, plan, shown, api):
    for asked in ("", "?pictures=no&twin=" if not api else "?pictures=false&twin="):
        assert counsellor.get(f"{api}/plans/{plan}/draft.pdf{asked}").status_code == 200
    needed, chosen = shown
    assert (needed.pictures, needed.twin.language, needed.calendar) == (True, "bn", None)
    assert (chosen.pictures, chosen.twin) == (False, None)


def test_what_a_request_says_wins_over_what_the_patient_needs(counsellor, plan, printed):
    sent = {"printed": 0, "pictures": False, "twin": "", "calendar": True}
    assert counsellor.post(f"/api/plans/{plan}/sheets", json=sent).status_code == 200
    assert printed() == SheetOptions(calendar=True)
    sent = {"printed": 1, "reason": "with the helper now", "pictures": None, "twin": "hi"}
    assert counsellor.post(f"/api/plans/{plan}/sheets", json=sent).status_code == 200
    assert printed() == SheetOptions(calendar=True, twin="hi"), "what was chosen for the last one stays"


def test_how_a_sheet_printed_is_remembered_for_the_patient_until_it_is_chosen_otherwise(
    counsellor, plan, printed, form_of
):
    first = form_of(counsellor.get(f"/plans/{plan}").text, f"/plans/{plan}/sheets")
    large = first | {"size": ["large"], "paper": ["A5"], "language": ["fr"]}
    assert counsellor.post(f"/plans/{plan}/sheets", data=large).status_code == 303
    again = form_of(counsellor.get(f"/plans/{plan}").text, f"/plans/{plan}/sheets")
    assert [again[name] for name in ("size", "paper", "language")] == [["large"], ["A5"], ["fr"]]
    assert counsellor.post(f"/plans/{plan}/sheets", data=again | {"reason": ["got wet"]}).status_code == 303
    assert printed() == replace(NEEDED, size="large", paper="A5")
    back = again | {"issue": ["2"], "reason": ["smaller"], "size": ["normal"], "language": ["en"]}
    assert counsellor.post(f"/plans/{plan}/sheets", data=back).status_code == 303
    assert printed() == replace(NEEDED, paper="A5")
    assert form_of(counsellor.get(f"/plans/{plan}").text, f"/plans/{plan}/sheets")["size"] == ["normal"]


def test_a_box_that_is_left_empty_and_none_for_a_language_win_over_what_the_patient_needs(
    counsellor, plan, printed, form_of
):
    page = counsellor.get(f"/plans/{plan}/preview").text
    chosen = {name: values for name, values in form_of(page).items() if name != "pictures"}
    assert form_of(page)["pictures"] == ["yes"], "as the patient needs it"
    asked = {**chosen, "pictures": ["no"], "twin": [""], "calendar": ["yes"]}
    form = form_of(counsellor.get(f"/plans/{plan}/preview", params=asked).text, f"/plans/{plan}/sheets")
    assert counsellor.post(f"/plans/{plan}/sheets", data=form).status_code == 303
    assert printed() == SheetOptions(calendar=True)


def test_a_clinic_that_wants_days_to_tick_has_them_on_every_sheet(house, counsellor, plan, printed):
    _ticks_days(house)
    assert counsellor.post(f"/api/plans/{plan}/sheets", json={"printed": 0}).status_code == 200
    assert printed() == replace(NEEDED, calendar=True)


def test_the_counsellor_chooses_days_to_tick_either_way(house, counsellor, plan, printed, form_of):
    for number, (clinic, chosen) in enumerate([(True, "no"), (False, "yes")]):
        _ticks_days(house, clinic)
        page = f"/plans/{plan}/preview"
        assert form_of(counsellor.get(page).text)["calendar"] == ["yes" if clinic else "no"]
        form = form_of(counsellor.get(page, params={"calendar": chosen}).text, f"/plans/{plan}/sheets")
        form |= {"reason": ["with other days"]} if number else {}
        assert counsellor.post(f"/plans/{plan}/sheets", data=form).status_code == 303
        assert printed() == replace(NEEDED, calendar=chosen == "yes")


def test_a_sheet_that_is_printed_keeps_its_days_whatever_the_clinic_wants_later(
    house, counsellor, plan, printed
):
    assert counsellor.post(f"/api/plans/{plan}/sheets", json={"printed": 0}).status_code == 200
    _ticks_days(house)
    assert printed() == NEEDED


def test_a_sheet_of_old_whose_options_nobody_noted_keeps_the_days_that_it_had(house, plan, printed):
    with house.store.write(SYSTEM, house.clock()) as unit:
        issue_sheet(unit, plan_id=plan, sheet_id="0123456789", language="en")
    assert printed() == SheetOptions(calendar=True)


def test_the_manager_says_whether_every_sheet_has_days_to_tick(house, form_of):
    manager = house.enter("manager")
    form = form_of(manager.get("/calendar").text)
    assert "days_to_tick" not in form, "off unless the clinic says so"
    assert manager.post("/calendar", data=form | {"days_to_tick": ["yes"]}).status_code == 303
    again = form_of(manager.get("/calendar").text)
    assert again["days_to_tick"] == ["yes"]
    assert manager.post("/calendar", data=form).status_code == 409, "seen before it was changed"
    with house.store.read() as session:
        assert get_clinic(session).days_to_tick
    del again["days_to_tick"]
    assert manager.post("/calendar", data=again).status_code == 303
    with house.store.read() as session:
        assert not get_clinic(session).days_to_tick
