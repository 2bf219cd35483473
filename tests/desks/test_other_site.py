"""Staff of another site: by every route a patient of the hill is not there, and nothing is changed."""

from __future__ import annotations

import pytest
from asked import ASKED, NOWHERE, line_of, names_of, route_of, send
from doors import WHO_MAY
from two_sites import THEIRS


def test_every_route_of_a_patient_plan_visit_sheet_message_or_colleague_is_asked():
    own = ("{desk}", "{name}")
    named = {(m, p) for m, p in WHO_MAY if "{" in p and not any(part in p for part in own)}
    missing = named - {route_of(asked) for asked in ASKED}
    assert missing == set()


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
