"""Staff of another site: by every route a patient of the hill is not there, and nothing is changed."""

from __future__ import annotations

import io
import re
from types import SimpleNamespace

import pypdfium2
import pytest
from asked import ASKED, NOWHERE, line_of, names_of, route_of, send
from doors import WHO_MAY
from two_sites import PASSWORD, THEIRS

from followup.care.sheets import of_a_day as day_sheets


def test_every_route_of_a_patient_plan_visit_sheet_message_or_colleague_is_asked():
    # A table that was sent in is its sender's alone (test_tables.py).
    own = ("{desk}", "{name}", "{table}")
    named = {(m, p) for m, p in WHO_MAY if "{" in p and not any(part in p for part in own)}
    missing = named - {route_of(asked) for asked in ASKED}
    assert missing == set()


BOTH = ("asha", "bela", "carol")


def _picture_of(pdf: bytes) -> bytes:
    """The first page as a telephone takes it."""
    taken = io.BytesIO()
    pypdfium2.PdfDocument(pdf)[0].render(scale=150 / 72).to_pil().save(taken, "PNG")
    return taken.getvalue()


@pytest.mark.parametrize("asked", ASKED, ids=line_of)
def test_a_patient_of_another_site_is_not_there_and_nothing_changes(scene, asked):
    before = scene.rows()
    answer = send(scene, "asha", asked, names_of(scene))
    nothing = send(scene, "asha", asked, names_of(scene) | NOWHERE)
    assert answer.status_code == 404, f"staff of another site: {answer.status_code}, {answer.text[:300]}"
    # A log-in name that was asked for is said back, whether anybody has it or not.
    said = nothing.text.replace(NOWHERE["staff"], "hill-desk")
    assert (nothing.status_code, said) == (404, answer.text), "not answered as what is not there"
    assert [name for name in THEIRS if name in answer.text and name != "hill-desk"] == []
    assert scene.rows() == before, "something of another site's patient was stored"


@pytest.mark.parametrize("login", ["bela", "carol"])
@pytest.mark.parametrize("asked", [one for one in ASKED if one[0] == "GET"], ids=line_of)
def test_staff_of_the_own_site_and_of_all_see_the_same_patient(scene, asked, login):
    before = scene.rows()
    answer = send(scene, login, asked, names_of(scene))
    assert answer.status_code == 200
    assert scene.rows() == before, "looking changed something"


# Lists: nobody of the hill stands on one of the first site's, and both stand on those of whoever works at
# both. Each is asked as page and over the program interface; what the own patient is named by says where.
LISTS = {
    "/today": ({"M-1"}, {"N-1", "N-2"}),
    "/today/list": ({"M-1"}, {"N-1", "N-2"}),
    "/api/visits": ({"M-1"}, {"N-1", "N-2"}),
    "/to-reach": ({"M-1"}, {"N-1", "N-2"}),
    "/api/to-reach": ({"M-1"}, {"N-1", "N-2"}),
    "/calls": ({"M-1"}, set()),
    "/api/calls": ({"M-1"}, set()),
    "/not-followed": (set(), {"N-3"}),
    "/api/not-followed": (set(), {"N-3"}),
    "/my-patients": (set(), {"N-1", "N-2"}),
    "/api/my-patients": (set(), {"N-1", "N-2"}),
    "/api/alerts": (set(), {"N-2"}),
    "/waiting": (set(), {"N-3"}),
    "/api/plans/waiting": (set(), {"N-3"}),
    "/operations": (set(), {"N-3", "N-9"}),
    "/operations?on=2027-03-01": ({"M-1"}, {"N-1", "N-2"}),
    "/api/operations": (set(), {"N-3", "N-9"}),
    "/api/operations?on=2027-03-01": ({"M-1"}, {"N-1", "N-2"}),
    "/messages": (set(), {"N-1"}),
    "/api/messages": (set(), {"N-1"}),
    "/staff": ({"asha"}, {"hill-desk"}),
    "/api/staff": ({"asha"}, {"hill-desk"}),
    "/api/find?text=Quillfeather": (set(), {"N-1", "N-2", "N-3"}),
    "/api/find?text=N-1": (set(), {"N-1"}),
    "/api/find?text=2079460123": ({"M-1"}, {"N-1", "N-2", "N-3"}),
}
ANYBODY = {
    "M-1": "Wanjiru Ndegwa",
    "N-1": "Xanthe Quillfeather",
    "N-2": "Zebedee Quillfeather",
    "N-3": "Ottoline Quillfeather",
    "N-9": "Listed Quillfeather",
    "asha": "Asha Main",
    "hill-desk": "Zed Quillfeather",
}


def _named(scene, login: str, path: str) -> set[str]:
    address, _, text = path.partition("?text=")
    browser = scene.browser(login)
    answer = browser.post(address, json={"text": text}) if text else browser.get(path)
    assert answer.status_code == 200, f"{path}: {answer.status_code}"
    # Every page names in its strip who looks at it.
    bare = re.sub("<header>.*?</header>", "", answer.text, count=1, flags=re.S)
    alone = {code: rf"(?<![\w-])({code}|{name})(?![\w-])" for code, name in ANYBODY.items()}
    return {code for code, pattern in alone.items() if re.search(pattern, bare)}


@pytest.mark.parametrize("path", LISTS)
def test_a_list_names_the_people_of_the_site_alone(scene, path):
    ours, theirs = LISTS[path]
    assert _named(scene, "asha", path) == ours
    assert _named(scene, "bela", path) == theirs
    assert _named(scene, "carol", path) == ours | theirs


def _figures(scene, login: str) -> dict[str, int]:
    browser = scene.browser(login)
    ahead, followed, shelf = (
        browser.get(f"/api/{name}").json() for name in ("forecast", "outcomes", "bottles")
    )
    return {
        "visits ahead": sum(day["visits"] for day in ahead),
        "after operations": sum(day["after_operations"] for day in ahead),
        "looks fallen due": sum(t["in_time"] + t["late"] + t["never"] for t in followed["tiers"]),
        "eyes that see": sum(followed["bands"].values()),
        "bottles of the week": sum(line["week"] for line in shelf["medicines"]),
    }


def test_figures_count_the_site_alone_and_both_together_where_somebody_works_at_both(scene):
    ours, theirs, both = (_figures(scene, login) for login in ("asha", "bela", "carol"))
    assert both == {name: ours[name] + theirs[name] for name in ours}
    assert (ours["visits ahead"], ours["looks fallen due"]) == (2, 1)
    assert (theirs["visits ahead"] > 4, theirs["looks fallen due"]) == (True, 2)
    assert theirs["after operations"] > 0 == ours["after operations"]
    assert theirs["eyes that see"] > 0 == ours["eyes that see"]


def test_whoever_is_not_followed_elsewhere_is_not_even_counted(scene):
    counted = {login: "not followed any more" in scene.browser(login).get("/to-reach").text for login in BOTH}
    assert counted == {"asha": False, "bela": True, "carol": True}


def test_what_somebody_counted_on_a_shelf_is_that_sites_own(scene):
    browser = {login: scene.browser(login) for login in BOTH}
    medicine = min(scene.house.desk.protocol.formulary)
    before = scene.rows()
    path = "/api/bottles/counts"
    assert browser["bela"].post(path, json={"counts": {medicine: 7}}).status_code == 200
    counted = {
        login: [
            m["counted"] for m in one.get("/api/bottles").json()["medicines"] if m["medicine"] == medicine
        ]
        for login, one in browser.items()
    }
    assert counted["bela"] == [7]
    assert 7 not in counted["asha"]
    assert scene.rows() != before


def test_a_code_of_another_site_was_never_issued_here(scene):
    code, unknown = scene.ids["typed N-1"], "ZZZZ-ZZZZ-ZZ0"
    found = {login: scene.browser(login).post("/find", data={"text": code}) for login in BOTH}
    assert found["asha"].status_code == 404
    said = scene.browser("asha").post("/find", data={"text": unknown})
    assert [name for name in THEIRS if name in found["asha"].text] == []
    for login in ("bela", "carol"):
        assert found[login].headers["location"] == f"/found/{scene.ids['sheet N-1']}"
    by_program = scene.browser("asha").post("/api/find", json={"text": code}).json()
    assert (by_program["sheet"], by_program["people"]) == (None, [])
    assert scene.browser("carol").post("/api/find", json={"text": code}).json()["people"][0]["code"] == "N-1"
    assert said.status_code == 404


def test_a_photo_of_another_sites_sheet_finds_nobody(scene):
    pdf = scene.browser("bela").get(f"/sheets/{scene.ids['sheet N-1']}/paper.pdf").content
    picture = _picture_of(pdf)
    file = {"photo": ("sheet.png", picture, "image/png")}
    assert scene.browser("asha").post("/photo", files=file).status_code == 404
    sent = {"content": picture, "headers": {"content-type": "application/octet-stream"}}
    found = {login: scene.browser(login).post("/api/photo", **sent).json() for login in ("asha", "carol")}
    assert (found["asha"]["sheet"], found["asha"]["people"]) == (None, [])
    assert found["carol"]["people"][0]["code"] == "N-1"


def test_plans_of_another_site_are_not_signed_together_with_the_own(scene):
    before = scene.rows()
    theirs = scene.ids["plan N-3"]
    page = scene.browser("asha").post("/waiting/sign", data={"plan": str(theirs), "password": PASSWORD})
    assert [name for name in THEIRS if name in page.text] == []
    sent = {"plans": [theirs, 999999], "password": PASSWORD}
    said = scene.browser("asha").post("/api/plans/sign", json=sent).json()
    assert (said["signed"], [line["plan"] for line in said["not_signed"]]) == (0, [theirs, 999999])
    assert len({line["why"] for line in said["not_signed"]}) == 1, "told apart from a plan that is not there"
    assert scene.rows() == before


def test_the_sheets_of_a_day_are_those_of_the_site(scene, monkeypatch):
    def told(sheets, **_):
        return SimpleNamespace(parts=[" ".join(sorted(sheet.name for sheet in sheets)).encode()])

    monkeypatch.setattr(day_sheets, "render_batch", told)
    for path in ("/operations/sheets.pdf", "/api/operations/sheets.pdf"):
        batch = {login: scene.browser(login).get(f"{path}?on=2027-03-01").text for login in BOTH}
        assert batch == {"asha": "M-1", "bela": "N-1 N-2", "carol": "M-1 N-1 N-2"}


def test_printing_a_day_issues_no_sheet_of_another_site(scene):
    before = scene.rows()
    for path, sent, answered in (
        ("/operations/sheets", {"data": {"on": "2027-03-01"}}, 303),
        ("/api/operations/sheets?on=2027-03-01", {}, 204),
    ):
        assert scene.browser("asha").post(path, **sent).status_code == answered
    assert scene.rows() == before


def test_an_operation_list_is_replaced_at_the_own_site_alone(scene):
    line = {"code": "M-9", "name": "Omar Main", "eye": "left"}
    scene.say("asha", "PUT /operations", on="2027-03-08", lines=[line])
    listed = {login: _named(scene, login, "/api/operations") for login in BOTH}
    assert (listed["asha"], listed["bela"]) == (set(), {"N-3", "N-9"})
    scene.say("asha", "PUT /operations", on="2027-03-08", lines=[])


@pytest.mark.parametrize("path", ["/operations/new?code=N-1", "/operations/preview"])
def test_a_new_record_is_not_filled_from_another_site(scene, path):
    browser = scene.browser("asha")
    answer = browser.get(path) if "?" in path else browser.post(path, data={"patient.code": "N-1"})
    assert answer.status_code == 200
    assert [name for name in THEIRS if name in answer.text and name != "N-1"] == []


def test_a_manager_of_a_site_has_nothing_to_say_over_who_works_at_every_site(scene):
    """Carol signs at both sites: whoever sets her password reads and signs at both."""
    before, asha = scene.rows(), scene.browser("asha")
    assert "Carol" not in asha.get("/staff").text
    assert "carol" not in {one["login"] for one in asha.get("/api/staff").json()}
    sent = {"roles": ["surgeon"], "active": True, "new_password": "quite another password"}
    sent["password"] = PASSWORD
    assert asha.put("/api/staff/carol", json=sent).status_code == 404
    assert asha.post("/staff/carol", data=sent | {"active": "yes"}).status_code == 404
    assert scene.rows() == before


def test_somebody_new_at_a_site_works_there_alone(scene):
    sent = {
        "login": "nia",
        "name": "Nia",
        "roles": ["reception"],
        "new_password": PASSWORD,
        "password": PASSWORD,
    }
    scene.say("asha", "POST /staff", **sent)
    assert {login: "nia" in scene.browser(login).get("/staff").text for login in BOTH} == {
        "asha": True,
        "bela": False,
        "carol": True,
    }
    assert scene.house.enter("nia").get("/patients/N-1").status_code == 404


def test_whoever_is_logged_in_here_may_log_in_as_somebody_of_another_site(scene):
    answer = scene.house.enter("asha").post("/log-in", data={"login": "bela", "password": PASSWORD})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
