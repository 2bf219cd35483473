"""A letter that was drawn on a bottle stays with it when a later plan no longer has the bottle before it."""

from __future__ import annotations

import re

from uneventful import uneventful

PASSWORD = "a long enough password"
BRIMONIDINE = {"medicine": "brimonidine-0-2", "eye": "right", "count_a_day": 2}
DORZOLAMIDE = {"medicine": "dorzolamide-2", "eye": "right", "count_a_day": 2}
MARK = re.compile(r'<span class="letter right" dir="ltr">(\w+)</span>\s*<span class="named"><b>([^<]+)</b>')


def test_a_drop_keeps_its_letter_when_the_one_before_it_is_taken_away(house):
    house = house
    house.sign_protocol()
    counsellor, surgeon = house.log_in("counsellor"), house.log_in("surgeon")
    told = {
        "patient": {
            "code": "K-104",
            "name": "Wanjiru Ndegwa",
            "birth_year": 1955,
            "language": "en",
            "drops_by": {"who": "relative"},
            "eyes": {"right": {"glaucoma": True, "damaged_nerve": False}},
        },
        "operations": [uneventful("2027-03-01")],
    }

    def printed(plan: int, **more: str) -> dict[str, str]:
        signed = surgeon.post(f"/api/plans/{plan}/sign", json={"password": PASSWORD} | more)
        assert signed.status_code == 200, signed.text
        sheet = counsellor.post(f"/api/plans/{plan}/sheets", json={"printed": 0})
        assert sheet.status_code == 200, sheet.text
        page = counsellor.get(f"/api/sheets/{sheet.json()['id']}/phone.html").text
        return {name: letter for letter, name in MARK.findall(page) if letter.startswith("P")}

    first = counsellor.post("/api/records", json={"record": told | {"in_use": [BRIMONIDINE, DORZOLAMIDE]}})
    assert first.status_code == 201, first.text
    assert printed(first.json()["plan"]) == {"Brimonidine 0.2%": "P", "Dorzolamide 2%": "P2"}
    changed = counsellor.put(
        "/api/patients/K-104/record", json={"record": told | {"in_use": [DORZOLAMIDE]}, "seen": 1}
    )
    assert changed.status_code == 200, changed.text
    assert printed(changed.json()["plan"], reason="one drop is not used any more") == {"Dorzolamide 2%": "P2"}
