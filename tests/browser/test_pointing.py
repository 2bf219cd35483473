"""Pointing at the drawn eye by its place on the screen: what is pressed is coloured and stored."""

from __future__ import annotations

from followup.records.people.patients import newest_record, patient_by_code

SIZES = {"desk": (1366, 768), "phone": (390, 844)}
PLUM, WHITE = "rgb(106, 44, 90)", "rgb(255, 255, 255)"


def _eyes(page) -> list[dict[str, float]]:
    """The two drawn irises as the screen has them, the left one of the picture first."""
    page.locator(".mirror svg").first.scroll_into_view_if_needed()
    found = page.locator(".mirror .iris")
    assert found.count() == 2
    return sorted((found.nth(i).bounding_box() for i in (0, 1)), key=lambda box: box["x"])


def _press(page, eye: dict[str, float]) -> str:
    page.mouse.click(eye["x"] + eye["width"] / 2, eye["y"] + eye["height"] / 2)
    return page.locator("[name='operations.0.eye_drawn']:checked").get_attribute("value")


def _colours(page) -> list[str]:
    """Of the irises, from the left of the screen."""
    return page.locator(".mirror .iris").evaluate_all(
        "all => all.sort((a, b) => a.getBoundingClientRect().x - b.getBoundingClientRect().x)"
        ".map(iris => getComputedStyle(iris).fill)"
    )


def test_the_eye_on_the_right_of_the_mirror_is_the_patients_right_one(served, person):
    who = person(SIZES["desk"])
    page = who.page
    who.comes_as("counsellor", "/operations/new")
    for language in ("en", "ar"):
        served.speak(language)
        for size in SIZES.values():
            page.set_viewport_size({"width": size[0], "height": size[1]})
            who.go("/operations/new")
            assert page.locator("html").get_attribute("dir") == ("rtl" if language == "ar" else "ltr")
            left, right = _eyes(page)
            assert _press(page, right) == "right"
            assert _colours(page) == [WHITE, PLUM]
            left, right = _eyes(page)
            assert _press(page, left) == "left"
            assert _colours(page) == [PLUM, WHITE]
    who.sees_a_sound_page("pointing")
    # On the phone in Arabic: the words say the left eye, and the left eye of the mirror is pressed last.
    who.enter_routine()
    page.check("[name='operations.0.eye'][value='left']")
    assert _press(page, _eyes(page)[0]) == "left"
    who.follow("button.main[name='save']")
    with served.store.read() as session:
        stored = newest_record(session, patient_by_code(session, "K-104").id).record
    assert [(o.eye, o.eye_drawn) for o in stored.operations] == [("left", "left")]
