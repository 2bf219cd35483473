"""A clinic's own reviewed catalogue over the program's: it wins, and never by half."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest

from followup.errors import FollowupError
from followup.language import catalogue_files as files
from followup.language.catalogue_files import Review, bind_clinic
from followup.language.catalogues import choose, offered, translator
from followup.language.languages import LANGUAGES

READ = Review("reviewed", "Mira Example", date(2026, 11, 20))
HINDI = LANGUAGES["hi"]
Keep = Callable[..., Path]


@pytest.fixture
def keep(tmp_path: Path) -> Iterator[Keep]:
    """Puts a Hindi catalogue into a clinic's folder, with some words replaced, and binds the folder."""

    def put(*changes: tuple[str, str], review: Review = READ) -> Path:
        text = files.shipped_file("hi", "sheet").read_text("utf-8")
        head, _, body = text.partition("\n\n")
        if review.by:
            head += f'\n"X-Reviewed-By: {review.by}\\n"\n"X-Reviewed-On: {review.on}\\n"'
        for old, new in changes:
            assert old in body
            body = body.replace(old, new)
        path = files.clinic_file("hi", "sheet", tmp_path)
        files.write_file(path, f"{head}\n\n{body}")
        bind_clinic(tmp_path)
        return path

    yield put
    bind_clinic(None)


def test_a_translation_that_somebody_read_is_no_draft_and_says_who(keep: Keep) -> None:
    keep(('msgstr "घर पर"', 'msgstr "अपने घर में"'))
    words = translator("hi")
    assert words.gettext("At home") == "अपने घर में"
    assert words.review == READ
    assert not words.is_draft
    assert translator("bn").is_draft, "another language stays as it was"


def test_without_a_reviewer_the_clinics_words_are_used_and_stay_a_draft(keep: Keep) -> None:
    keep(('msgstr "घर पर"', 'msgstr "अपने घर में"'), review=Review())
    assert translator("hi").gettext("At home") == "अपने घर में"
    assert translator("hi").is_draft


def test_a_message_that_the_reviewer_never_saw_makes_it_a_draft_again(keep: Keep) -> None:
    # As after an update that brought a new message: its words come from the program.
    keep(('msgid "At home"\nmsgstr "घर पर"\n', 'msgid "An old message"\nmsgstr "पुराना"\n'))
    words = translator("hi")
    assert words.gettext("At home") == "घर पर"
    assert words.is_draft
    assert (None, "An old message") not in words.messages


def test_what_is_imported_while_the_pages_are_served_is_read_at_once(keep: Keep) -> None:
    path = keep()
    assert translator("hi").gettext("At home") == "घर पर"
    path.write_text(path.read_text("utf-8").replace('"घर पर"', '"घर में"'), "utf-8")
    assert translator("hi").gettext("At home") == "घर में"
    path.unlink()
    assert translator("hi").gettext("At home") == "घर पर"
    assert translator("hi").is_draft


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ("पर्चा नंबर %(number)s", "पर्चा नंबर", "lacks the placeholder"),
        ('msgstr "बाईं आँख"', 'msgstr "दाईं आँख"', "lacks the word for 'left eye'"),
        ("msgid ", "msgx ", "can't be read"),
    ],
)
def test_a_file_damaged_by_hand_is_an_error_and_never_english_in_silence(
    keep: Keep, old: str, new: str, what: str
) -> None:
    path = keep((old, new))
    for ask in (lambda: translator("hi"), lambda: choose("hi"), offered):
        with pytest.raises(FollowupError) as refused:
            ask()
        assert refused.value.code == "language.damaged"
        assert what in refused.value.what
        assert refused.value.where == str(path)


def test_english_is_the_programs_own_whatever_lies_in_the_folder(keep: Keep, tmp_path: Path) -> None:
    keep()
    own = files.clinic_file("en", "sheet", tmp_path)
    files.write_file(own, 'msgid ""\nmsgstr ""\n\nmsgid "Left eye"\nmsgstr "Right eye"\n')
    assert translator("en").gettext("Left eye") == "Left eye"


def test_a_file_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "a" / "sheet.po"
    files.write_file(path, "one")
    with pytest.raises(UnicodeEncodeError):
        files.write_file(path, "two \ud800")
    assert path.read_text("utf-8") == "one"
    assert list(path.parent.iterdir()) == [path]
