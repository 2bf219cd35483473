"""Names are found by parts of their words as if every name were compared with what was typed."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from sqlalchemy import text

from followup.records.people.folding import fold_name
from followup.records.people.patients import correct_record, search_patients
from followup.records.people.similar import _wrong_in, _wrong_letters, similar_patients
from followup.records.store.spelling import BEGINNING, after, left_out, parts_of, wrong_at_most

# Invented; one for each language of the sheets and for each script, some alike.
NAMES = (
    "Wanjiru Nyambura Ndegwa", "Margaret Thornbury", "José Álvares Quintanilha", "François Delacourbe",
    "Guadalupe Hinojosa", "Tèodros Alemayehu", "ቴዎድሮስ ዓለማየሁ", "আমিনা খাতুন নাসরীন", "লক্ষ্মীপ্রিয়া দাশগুপ্ত",
    "लक्ष्मीनारायण श्रीवास्तव", "सुशीला थापामगर", "முத்துலட்சுமி ராமநாதன்", "لطيفة عبدالرحمن", "غلام مصطفى جتوئی",
    "Muthulakshmi Ramanathan", "Ramanathan Muthulaksmi", "Abdulrahman Al-Rashidi", "Rashida Begum", "Jo Lee",
)  # fmt: skip
_LETTERS = st.text(alphabet="abc", max_size=12)


@pytest.fixture
def called(ward):
    for number, name in enumerate(NAMES):
        ward.enter(ward.record(f"N-{number}", name=name))
    return ward


@given(_LETTERS, _LETTERS)
@example("abcabca", "abcabcabc")
@example("abca", "abcbcc")
def test_a_word_that_may_be_meant_has_a_part_in_common_with_what_was_typed(typed, own):
    """The oracle compares letter by letter, and knows nothing of parts."""
    if not own or _wrong_in(typed, own) is None:
        return
    parts = set(left_out(typed, wrong_at_most(typed)))
    if len(typed) >= BEGINNING:
        assert parts & parts_of(own)
    else:
        assert any(part <= mine < after(part) for part in parts for mine in parts_of(own))


def _typed_wrongly(name: str) -> list[str]:
    """The name with one letter left out, doubled, another, or exchanged with the next, at each place."""
    found = []
    for i, letter in enumerate(name):
        if letter != " ":
            rest = name[i + 1 :]
            found += [name[:i] + rest, name[:i] + letter + letter + rest, name[:i] + "ʘ" + rest]
            found += [name[:i] + rest[:1] + letter + rest[1:]] if rest[:1].strip() else []
    return found


def test_in_every_language_a_wrong_letter_finds_whom_comparing_with_every_name_finds(called):
    everybody = [(fold_name(name), f"N-{number}") for number, name in enumerate(NAMES)]
    tried = 0
    with called.store.read() as session:
        for name in NAMES:
            for typed in [*_typed_wrongly(fold_name(name))[::5], name.split()[0][:5]]:
                words = fold_name(typed).split()
                if not any(len(word) >= 4 for word in words):
                    continue
                told = [(wrong, own, code) for own, code in everybody
                        if (wrong := _wrong_letters(words, own.split())) is not None]  # fmt: skip
                found = [who.code for who in similar_patients(session, typed)]
                assert found == [code for *_, code in sorted(told)], typed
                tried += bool(told)
    assert tried > 100


def test_a_part_of_a_word_finds_it_wherever_it_stands(called):
    with called.store.read() as session:
        for number, name in enumerate(NAMES):
            for word in fold_name(name).split():
                for part in (word, word[:2], word[-3:], word[1:4]):
                    holding = {f"N-{i}" for i, own in enumerate(NAMES) if part in fold_name(own)}
                    assert {who.code for who in search_patients(session, part)} == holding, part
            (found, *_) = search_patients(session, " ".join(reversed(name.split())))
            assert found.code == f"N-{number}"


def test_a_name_that_nobody_bears_any_more_is_forgotten(ward):
    """What is left of it may be all that is left of a person."""

    def parts(word: str) -> int:
        with ward.store.read() as session:
            query = text("SELECT count(*) FROM name_part WHERE word = :word")
            return session.execute(query, {"word": word}).scalar_one()

    first = ward.enter(ward.record("K-1", name="Zephyrine Quillfeather"))
    second = ward.enter(ward.record("K-2", name="Anna Quillfeather"))
    assert parts("zephyrine") > 20
    assert parts("quillfeather") > 20
    for who, code in ((first, "K-1"), (second, "K-2")):
        with ward.store.write(ward.counsellor, ward.now) as unit:
            correct_record(unit, patient_id=who, record=ward.record(code, name="Anna Brook"), seen=1)
        assert parts("zephyrine") == 0
        assert (parts("quillfeather") > 0) == (code == "K-1")
    with ward.store.read() as session:
        assert search_patients(session, "quillf") == similar_patients(session, "quillfeathr") == ()
        assert len(search_patients(session, "brook")) == 2
