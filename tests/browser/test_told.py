"""A told operation at the counsellor's desk: pasted, read at one press, asked, stored beside the record."""

from __future__ import annotations

import pytest

from followup.records.people.patients import newest_record, patient_by_code
from followup.records.people.tellings import tellings_of

TOLD = (
    "Phaco, right eye. Tunnel 2.2 mm. Expansion ring put in, perhaps iris hooks.\n"
    "Capsule possibly torn, no vitreous loss. Lens in the bag. Floppy iris. The weather was fine."
)
SIZES = {"desk": (1366, 768), "phone": (390, 844)}
WHO = {
    "patient.code": "K-104",
    "patient.name": "Wanjiru Ndegwa",
    "patient.birth_year": "1955",
    "patient.telephones.0.number": "+44 20 7946 0123",
    "operations.0.surgeon": "Dr Sen",
}
TORN, WIDENED, CUT = (f"operations.0.{name}" for name in ("capsule_torn", "pupil_widened", "cut_mm"))


def _begin(someone, told=TOLD):
    """Who it is and which eye, then the text, pasted and read."""
    someone.comes_as("counsellor", "/operations/new")
    for name, value in WHO.items():
        someone.page.fill(f"[id='{name}']", value)
    someone.page.select_option("[id='patient.language']", "en")
    for name in ("eye_drawn", "eye"):
        someone.page.locator(f"input[name='operations.0.{name}'][value='right']").check()
    someone.page.fill("[id='told.text']", told)
    someone.follow("button[name='read']")


def _answer(someone, name, value):
    someone.page.locator(f"label:has([name='asked:{name}'][value='{value}'])").click()


def _stored(served):
    with served.store.read() as session:
        who = patient_by_code(session, "K-104")
        if who is None:
            return None
        record = newest_record(session, who.id).record
        return record.operations[0], [one.text for one in tellings_of(session, who.id)]


def _box(someone, selector):
    found = someone.page.locator(selector).first.bounding_box()
    return found["x"], found["y"], found["width"], found["height"]


@pytest.mark.parametrize("size", SIZES)
def test_it_is_read_asked_and_stored_with_few_presses(served, person, size):
    someone = person(SIZES[size])
    someone.comes_as("counsellor", "/operations/new")
    someone.sees_a_sound_page(f"told-empty-{size}")
    _begin(someone)
    page = someone.page
    assert page.input_value(f"[id='{CUT}']") == "2.2"
    assert page.locator(f"[name='{TORN}']:checked:not([value=''])").count() == 0
    someone.sees_a_sound_page(f"told-read-{size}")
    text, record, plan = (_box(someone, part) for part in (".told", ".record", ".preview"))
    if size == "desk":
        assert text[0] + text[2] <= record[0], "the text on the left, the record on the right"
        assert plan[0] == text[0]
        assert text[1] + text[3] <= plan[1]
    else:
        assert text[0] == record[0]
        assert text[1] + text[3] <= record[1], "one under the other"
        assert record[1] + record[3] <= plan[1]

    someone.follow("button.main[name='save']")
    assert "answer each of them" in page.inner_text("main")
    assert _stored(served) is None
    someone.sees_a_sound_page(f"told-refused-{size}")
    _answer(someone, TORN, '["yes"]')
    assert page.is_checked(f"[name='{TORN}'][value='yes']"), "one press, and it stands in its field"
    _answer(someone, WIDENED, '["ring", "hooks"]')
    ticked = page.locator(f"[name='{WIDENED}']:checked").evaluate_all("all => all.map(one => one.value)")
    assert sorted(ticked) == ["hooks", "ring"]
    someone.shot(f"told-answered-{size}")
    someone.follow("button.main[name='save']")
    page.wait_for_url("**/plans/*")
    operation, kept = _stored(served)
    assert (operation.cut_mm, operation.capsule_torn) == (2.2, True)
    assert set(operation.pupil_widened) == {"ring", "hooks"}
    assert kept == [TOLD]

    someone.go("/patients/K-104/record")
    assert "The weather was fine." in page.inner_text(".told")
    someone.sees_a_sound_page(f"told-kept-{size}")


def test_a_field_and_its_words_light_each_other(served, person):
    someone = person()
    _begin(someone)
    page = someone.page

    def lit(within):
        return page.locator(f"{within} .lit").evaluate_all("all => all.map(one => one.textContent.trim())")

    page.focus(f"[id='{CUT}']")
    assert lit(".told") == ["Tunnel 2.2 mm", "2"]
    assert page.locator("[id='f-operations.0.cut_mm'].lit").count() == 1
    page.focus("[id='patient.name']")
    assert page.locator(".lit").count() == 0
    page.hover(".told-text [data-told]:text('Tunnel 2.2 mm')")
    assert page.locator("[id='f-operations.0.cut_mm'].lit").count() == 1
    page.mouse.move(0, 0)
    assert page.locator(".lit").count() == 0
    page.hover(f"[id='f-{TORN}']")
    assert page.locator(f"[id='ask-{TORN}'].lit").count() == 1
    # One press on the words leads to the field.
    page.click(".told-text a[href='#f-operations.0.lens']")
    assert page.evaluate("location.hash") == "#f-operations.0.lens"


def test_what_is_typed_in_the_field_takes_the_place_of_the_answer(served, person):
    someone = person()
    _begin(someone, "Phaco. Tunnel 2.2 mm. Capsule possibly torn.")
    _answer(someone, TORN, '["yes"]')
    someone.picks(TORN, "no")
    assert someone.page.locator(f"[name='asked:{TORN}']:checked").count() == 0
    someone.follow("button.main[name='save']")
    someone.page.wait_for_url("**/plans/*")
    assert _stored(served)[0].capsule_torn is False


@pytest.mark.parametrize("size", SIZES)
def test_without_scripts_it_is_numbered_and_works_by_sending_the_form(served, person, size):
    someone = person(SIZES[size], scripts=False)
    _begin(someone)
    page = someone.page
    numbers = page.locator(".told-text sup").all_inner_texts()
    assert numbers
    for number in dict.fromkeys(numbers):
        assert page.locator(f".record [data-told='{number}'] sup", has_text=number).count() >= 1, number
    someone.sees_a_sound_page(f"told-no-scripts-{size}")
    someone.follow("button.main[name='save']")
    assert _stored(served) is None
    _answer(someone, TORN, "[]")
    _answer(someone, WIDENED, '["ring", "hooks"]')
    someone.follow("button[name='look']")
    assert page.is_checked(f"[name='asked:{TORN}'][value='[]']")
    someone.follow("button.main[name='save']")
    assert "/plans/" in page.url
    assert _stored(served)[0].capsule_torn is None
    assert _stored(served)[0].pupil_widened == ("ring", "hooks")


@pytest.mark.parametrize("size", SIZES)
def test_in_arabic_the_text_stands_on_the_right(served, person, size):
    served.speak("ar")
    someone = person(SIZES[size])
    _begin(someone)
    someone.sees_a_sound_page(f"told-ar-{size}")
    text, record = _box(someone, ".told"), _box(someone, ".record")
    if size == "desk":
        assert record[0] + record[2] <= text[0]
    _answer(someone, TORN, '["no"]')
    _answer(someone, WIDENED, "[]")
    someone.follow("button.main[name='save']")
    someone.page.wait_for_url("**/plans/*")
    assert _stored(served)[1] == [TOLD]
