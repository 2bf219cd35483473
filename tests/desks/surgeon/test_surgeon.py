"""The surgeon's desk: the effect said in words, cautions answered by name, what can't be signed."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from datetime import date

import pytest

from followup.care.plans.plan_view import steps_left
from followup.clinical.careplan import CarePlan, Course, Question, Step, Trip
from followup.desks.page.effect import PlanWords, effect
from followup.desks.words.texts import Texts

PASSWORD = "a long enough password"
DAY1 = date(2027, 3, 2)


def _course(*steps: tuple[int, int], **more) -> Course:
    day, made = DAY1, []
    for count, days in steps:
        made.append(Step(start=day, days=days, count=count))
        day = date.fromordinal(day.toordinal() + days)
    given = {"key": "left:steroid", "role": "steroid", "medicine": "drop-a", "eye": "left", "steps": made}
    return Course(**(given | more))


def _plan(*courses: Course, trips: tuple[int, ...] = (), **more) -> CarePlan:
    made = tuple(
        Trip(
            number=i,
            date=date(2027, 3, day),
            serves=(),
            services=("review",),
            window_start=date(2027, 3, day),
            window_end=date(2027, 3, day),
            tier="C",
        )
        for i, day in enumerate(trips, 1)
    )
    given = {"patient": "K-1", "as_of": DAY1, "status": "draft", "protocol": "p", "protocol_hash": "h"}
    return CarePlan(**given, approved=True, engine="1", courses=courses, trips=made, **more)


@pytest.fixture
def said(protocol):
    """What a change does, on an English page."""
    return lambda old, new: effect(old, new, PlanWords(Texts("en"), protocol))


def test_more_drops_and_a_later_end_are_said_with_their_numbers(said):
    assert said(_plan(_course((4, 7))), _plan(_course((4, 7), (2, 7)))) == (
        "drop-a, left eye: 14 drops more, 42 in all.",
        "drop-a, left eye: the last day is Monday 15 March 2027, 7 days later.",
    )


def test_one_drop_fewer_is_said_in_the_singular(said):
    assert said(_plan(_course((4, 7), (1, 1))), _plan(_course((4, 7)))) == (
        "drop-a, left eye: 1 drop fewer, 28 in all.",
        "drop-a, left eye: the last day is Monday 8 March 2027, 1 day earlier.",
    )


def test_a_moved_visit_is_one_sentence_and_a_new_one_another(said):
    assert said(_plan(trips=(3, 9)), _plan(trips=(3, 10, 20))) == (
        "The visit on Tuesday 9 March 2027 moves to Wednesday 10 March 2027.",
        "A new visit on Saturday 20 March 2027.",
    )


def test_a_course_held_stopped_new_or_gone_is_said(said):
    held = _course((4, 7), state="held", held_by=("q",))
    assert "held until its question is answered" in said(_plan(_course((4, 7))), _plan(held))[0]
    assert "no longer held, now runs" in said(_plan(held), _plan(_course((4, 7))))[0]
    assert said(_plan(), _plan(_course((4, 7)))) == ("drop-a, left eye: new in the plan.",)
    assert said(_plan(_course((4, 7))), _plan()) == ("drop-a, left eye: no longer in the plan.",)


def test_a_new_question_is_said_with_its_eye(said):
    question = Question(id="q", text="Is the eye quiet?", eye="left", fields=())
    assert said(_plan(), _plan(questions=(question,))) == ("A new question: Is the eye quiet? (left eye)",)


def test_the_same_plan_has_no_effect(said):
    plan = _plan(_course((4, 7), (2, 7)), trips=(3, 9))
    assert said(plan, plan) == ()


@pytest.mark.parametrize(
    ("day", "left"),
    [
        (date(2027, 3, 1), ((4, 7), (3, 7))),
        (date(2027, 3, 2), ((4, 7), (3, 7))),
        (date(2027, 3, 5), ((4, 4), (3, 7))),
        (date(2027, 3, 9), ((3, 7),)),
        (date(2027, 3, 15), ((3, 1),)),
        (date(2027, 3, 16), ()),
    ],
)
def test_the_steps_left_begin_on_the_day_itself(day, left):
    assert steps_left(_course((4, 7), (3, 7)), day) == left


@pytest.fixture
def asthma(house, routine, form_of):
    """A plan that asks about aspirin before the NSAID: asthma, never asked."""
    house.sign_protocol()
    browser = house.log_in("counsellor")
    form = form_of(browser.get("/operations/new").text) | routine
    form |= {"patient.conditions.asthma": ["yes"]}
    return house, browser.post("/operations/new", data=form).headers["location"]


@pytest.mark.parametrize("decision", ["give", "do not give"])
def test_a_caution_is_answered_by_its_name_with_the_reason(asthma, form_of, words_of, decision):
    house, plan = asthma
    surgeon = house.log_in("surgeon")
    page = surgeon.get(plan).text
    form = form_of(page, f"{plan}/answers")
    name = next(key for key in form if key.startswith("caution.") and key.endswith(".decision"))
    assert "nsaid" in name
    form |= {name: [decision], name.replace(".decision", ".why"): ["asked the patient myself"]}
    answer = surgeon.post(f"{plan}/answers", data=form)
    assert answer.status_code == 303, words_of(answer.text)
    after = surgeon.get(answer.headers["location"]).text
    assert not [key for key in _fields(after) if key == name]
    with house.store.read() as session:
        body = session.connection().exec_driver_sql(
            "SELECT body FROM record_version ORDER BY number DESC LIMIT 1"
        )
        stored = json.loads(body.scalar_one())
    caution, course = name.removeprefix("caution.").removesuffix(".decision").rsplit(".", 1)
    assert stored["operations"][0]["answers"] == [
        {
            "caution": caution,
            "course": course,
            "medicine": "bromfenac-0-09",
            "decision": decision,
            "why": "asked the patient myself",
        }
    ]


def _fields(html: str) -> list[str]:
    return [part.split('"')[0] for part in html.split('name="')[1:]]


def test_an_answer_to_one_question_leaves_every_other_field_of_the_record_alone(asthma, form_of):
    house, plan = asthma
    surgeon = house.log_in("surgeon")
    form = form_of(surgeon.get(plan).text, f"{plan}/answers")
    form |= {"patient.conditions.tolerates_aspirin": ["yes"], "patient.name": ["Somebody Else"]}
    plan = surgeon.post(f"{plan}/answers", data=form).headers["location"]
    page = form_of(house.log_in("counsellor").get("/patients/K-104/record").text)
    assert page["patient.name"] == ["Wanjiru Ndegwa"]
    assert page["patient.conditions.tolerates_aspirin"] == ["yes"]
    assert page["patient.conditions.asthma"] == ["yes"]


def test_a_list_named_by_a_question_can_be_lengthened_without_losing_what_was_typed(asthma, form_of):
    house, plan = asthma
    surgeon = house.log_in("surgeon")
    form = form_of(surgeon.get(plan).text, f"{plan}/answers")
    form |= {"patient.conditions.tolerates_aspirin": ["no"], "add": ["patient.allergies"]}
    answer = surgeon.post(f"{plan}/answers", data=form)
    assert answer.status_code == 200
    longer = form_of(answer.text, f"{plan}/answers")
    assert "patient.allergies.0.to" in longer
    assert longer["patient.conditions.tolerates_aspirin"] == ["no"]
    for name in ("patient.name", "nothing"):
        assert surgeon.post(f"{plan}/answers", data=form | {"add": [name]}).status_code == 422


def test_replacing_a_signed_plan_needs_a_reason(house, routine, form_of, words_of):
    house.sign_protocol()
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    surgeon = house.log_in("surgeon")
    surgeon.post(f"{plan}/sign", data={"password": PASSWORD})
    record = form_of(counsellor.get("/patients/K-104/record").text) | {"operations.0.bleeding": ["yes"]}
    newer = counsellor.post("/patients/K-104/record", data=record).headers["location"]
    assert "What changes against plan 1" in words_of(surgeon.get(newer).text)
    refused = surgeon.post(f"{newer}/sign", data={"password": PASSWORD})
    assert refused.status_code == 422
    assert "no reason given" in words_of(refused.text)
    signed = surgeon.post(f"{newer}/sign", data={"password": PASSWORD, "reason": "blood found on the tape"})
    assert signed.status_code == 303


def test_the_second_of_two_surgeons_who_change_steps_is_told_and_keeps_the_typing(
    house, routine, form_of, words_of
):
    house.sign_protocol()
    counsellor, surgeon = house.log_in("counsellor"), house.log_in("surgeon")
    form = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    page = f"{plan}/steps"
    steps = form_of(surgeon.get(page, params={"course": "right:steroid"}).text)
    first = steps | {"count": ["2"], "days": ["9"], "reason": ["first"], "store": ["yes"]}
    second = steps | {"count": ["5"], "days": ["3"], "reason": ["second"], "store": ["yes"]}
    assert surgeon.post(page, data=first).status_code == 303
    answer = surgeon.post(page, data=second)
    assert answer.status_code == 409
    said = words_of(answer.text)
    assert "Since then: plan 2, by surgeon" in said
    assert "drops fewer" in said.split("What differs from plan 1:")[1].split("As it stands")[0]
    newest = f"/plans/{int(plan.rsplit('/', 1)[1]) + 1}/steps"
    kept = form_of(answer.text, newest)
    assert (kept["reason"], kept["count"][0]) == (["second"], "5")
    again = surgeon.post(newest, data=kept | {"store": ["yes"]})
    assert again.status_code == 303


def test_a_course_that_the_surgeon_ends_early_stops_on_the_day_before(house, routine, form_of, words_of):
    house.sign_protocol()
    counsellor, surgeon = house.log_in("counsellor"), house.log_in("surgeon")
    form = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    page = f"{plan}/steps"
    steps = form_of(surgeon.get(page, params={"course": "right:nsaid"}).text)
    ended = steps | {"starts": ["2027-03-05"], "count": [""], "days": [""], "reason": ["cornea rough"]}
    shown = words_of(surgeon.post(page, data=ended | {"show": ["yes"]}).text)
    assert "the last day is Thursday 4 March" in shown


@pytest.fixture
def drafted(house, routine, form_of):
    """A routine plan that waits for its signature; gives the house and the plan's address."""
    house.sign_protocol()
    browser = house.log_in("counsellor")
    form = form_of(browser.get("/operations/new").text) | routine
    return house, browser.post("/operations/new", data=form).headers["location"]


def _change(surgeon, plan, form_of, count):
    page = f"{plan}/steps"
    steps = form_of(surgeon.get(page, params={"course": "right:steroid"}).text)
    sent = steps | {"count": [count], "days": ["9"], "reason": ["because"], "store": ["yes"]}
    return surgeon.post(page, data=sent).headers["location"]


def test_a_change_can_be_taken_back_and_the_plan_is_as_before(drafted, form_of, words_of):
    house, plan = drafted
    surgeon = house.log_in("surgeon")
    changed = _change(surgeon, plan, form_of, "2")
    assert "drops fewer" in words_of(surgeon.get(changed).text)
    assert surgeon.post(f"{changed}/take-back", data={"change": "2"}).status_code == 404
    back = surgeon.post(f"{changed}/take-back", data={"change": "1"}).headers["location"]
    page = words_of(surgeon.get(back).text)
    assert "Changed by the surgeon" not in page
    compared = surgeon.get(f"{back}/against/{plan.rsplit('/', 1)[1]}")
    assert "The two versions say the same." in words_of(compared.text)
    late = surgeon.post(f"{changed}/take-back", data={"change": "1"})
    assert late.status_code == 409
    assert "Since then: plan 3" in words_of(late.text)


def test_who_signs_an_older_draft_is_told_what_changed_and_keeps_the_reason(drafted, form_of, words_of):
    house, plan = drafted
    first, second = house.log_in("surgeon"), house.log_in("surgeon")
    assert second.get(plan).status_code == 200
    newest = _change(first, plan, form_of, "2")
    answer = second.post(f"{plan}/sign", data={"password": PASSWORD, "reason": "quiet eye"})
    assert answer.status_code == 409
    said = words_of(answer.text)
    assert "Since then: plan 2, by surgeon" in said
    assert "drops fewer" in said
    assert form_of(answer.text, f"{newest}/sign")["reason"] == ["quiet eye"]
    assert second.post(f"{newest}/sign", data={"password": PASSWORD}).status_code == 303


def test_a_signature_sent_twice_or_from_the_page_before_has_one_effect(drafted):
    house, plan = drafted
    surgeon = house.log_in("surgeon")
    for _ in range(2):
        assert surgeon.post(f"{plan}/sign", data={"password": PASSWORD}).headers["location"] == plan
    together = {"plan": [plan.rsplit("/", 1)[1]], "password": PASSWORD}
    assert surgeon.post("/waiting/sign", data=together).status_code == 303
    with house.store.read() as session:
        signed = "SELECT count(*) FROM journal WHERE action = 'plan signed'"
        assert session.connection().exec_driver_sql(signed).scalar_one() == 1


def test_two_clicks_at_once_sign_once_and_both_find_the_plan_signed(house, routine, form_of):
    house.sign_protocol()
    browser = house.log_in("counsellor")
    form = form_of(browser.get("/operations/new").text) | routine
    plan = browser.post("/operations/new", data=form).headers["location"]
    surgeons = [house.log_in("surgeon") for _ in range(2)]
    with ThreadPoolExecutor(2) as pool:
        sent = pool.map(lambda one: one.post(f"{plan}/sign", data={"password": PASSWORD}), surgeons)
        assert [answer.status_code for answer in sent] == [303, 303]


def test_answers_to_a_record_that_changed_meanwhile_are_kept_and_can_be_sent_again(asthma, form_of, words_of):
    house, plan = asthma
    surgeon = house.log_in("surgeon")
    form = form_of(surgeon.get(plan).text, f"{plan}/answers")
    record = form_of(house.log_in("counsellor").get("/patients/K-104/record").text)
    changed = record | {"patient.lives_alone": ["yes"]}
    assert house.log_in("counsellor").post("/patients/K-104/record", data=changed).status_code == 303
    answer = surgeon.post(f"{plan}/answers", data=form | {"patient.conditions.tolerates_aspirin": ["yes"]})
    assert answer.status_code == 409
    assert "Since then: plan 2" in words_of(answer.text)
    newest = f"/plans/{int(plan.rsplit('/', 1)[1]) + 1}/answers"
    kept = form_of(answer.text, newest)
    assert kept["patient.conditions.tolerates_aspirin"] == ["yes"]
    assert surgeon.post(newest, data=kept).status_code == 303
    page = form_of(house.log_in("counsellor").get("/patients/K-104/record").text)
    assert page["patient.lives_alone"] == ["yes"]
    assert page["patient.conditions.tolerates_aspirin"] == ["yes"]


def test_the_plans_page_shows_allergies_and_free_words_where_it_is_signed(house, routine, form_of, words_of):
    browser = house.log_in("counsellor")
    form = form_of(browser.get("/operations/new").text) | routine
    form |= {
        "patient.allergy_text": ["sulfa - came out in blisters"],
        "operations.0.free_text": ["Coughed twice <b>."],
    }
    page = browser.get(browser.post("/operations/new", data=form).headers["location"]).text
    assert "Allergies" in words_of(page)
    assert "sulfa - came out in blisters" in words_of(page)
    assert "Told in words, not used for the plan" in words_of(page)
    assert "Coughed twice &lt;b&gt;." in page


def test_no_steroid_drop_is_decided_on_the_page_with_a_name_and_stands_there_as_decided(
    house, routine, form_of, words_of
):
    house.sign_protocol()
    browser = house.log_in("counsellor")
    form = form_of(browser.get("/operations/new").text) | routine
    form |= {
        "add": ["patient.allergies"],
    }
    form = form_of(browser.post("/operations/new", data=form).text)
    form |= {"patient.allergies.0.to": ["benzalkonium"], "patient.allergies.0.reaction": ["rash"]}
    plan = browser.post("/operations/new", data=form).headers["location"]
    surgeon = house.log_in("surgeon")
    form = form_of(surgeon.get(plan).text, f"{plan}/answers")
    cautions = [key for key in form if key.startswith("caution.") and key.endswith(".decision")]
    assert len(cautions) == 3, "one question a medicine"
    form |= {name: ["do not give"] for name in cautions}
    plan = surgeon.post(f"{plan}/answers", data=form).headers["location"]
    assert "which product takes its place" in words_of(surgeon.get(plan).text)
    form = form_of(surgeon.get(plan).text, f"{plan}/answers")
    form |= {
        "operations.0.no_steroid_drop.why": ["a depot acts inside the eye"],
        "operations.0.no_steroid_drop.decided_by": ["Dr Osei"],
    }
    plan = surgeon.post(f"{plan}/answers", data=form).headers["location"]
    said = words_of(surgeon.get(plan).text)
    assert "Decided, signed with the plan:" in said
    assert "a depot acts inside the eye" in said
    assert surgeon.post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
