"""All problems of a protocol at once, each with file and line."""

from __future__ import annotations

import pytest

from followup.clinical.protocol.lint import lint_protocol
from followup.clinical.protocol.load import load_protocol
from followup.errors import FollowupError


def change(folder, file, *changes):
    text = (folder / file).read_text("utf-8")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    (folder / file).write_text(text, "utf-8")


def line_of(folder, file, text):
    lines = (folder / file).read_text("utf-8").splitlines()
    return next(i for i, line in enumerate(lines, 1) if text in line)


def test_the_sample_protocol_has_no_problem():
    assert lint_protocol() == ()


def test_every_contradiction_is_told_with_its_line(folder):
    change(
        folder,
        "rules-1-courses.toml",
        ('when = ["event"]', 'when = ["an_event"]'),
        ('taper = "UW"', 'taper = "UX"'),
    )
    change(folder, "protocol.toml", ('nsaid = "bromfenac-0-09"', 'nsaid = "aspirin-drops"'))
    change(folder, "review.toml", ('later_steps_uveitic = "U"', 'later_steps_uveitic = "Z"'))
    told = [problem.line for problem in lint_protocol(folder)]
    assert any('names no fact "an_event"' in line for line in told)
    assert any('names no taper "UX"' in line for line in told)
    assert any(
        f"protocol.toml line {line_of(folder, 'protocol.toml', 'aspirin-drops')}" in line for line in told
    )
    assert any(
        f"review.toml line {line_of(folder, 'review.toml', 'later_steps_uveitic')}" in line for line in told
    )
    assert len(told) >= 4
    with pytest.raises(FollowupError) as first:
        load_protocol(folder)
    assert first.value.line in told


def test_every_faulty_entry_is_told_before_contradictions_are_looked_for(folder):
    change(folder, "rules-1-courses.toml", ('mark = "C"', 'mark = "X"'))
    change(folder, "facts.toml", ('name = "child"', 'name = "Child"'))
    change(folder, "review.toml", ("rise_from_day = 5", 'rise_from_day = "five"'))
    told = [problem.line for problem in lint_protocol(folder)]
    assert len(told) == 3
    for file in ("rules-1-courses.toml", "facts.toml", "review.toml"):
        assert any(f"{file} line " in line for line in told)


@pytest.mark.parametrize(
    ("file", "old", "new", "what"),
    [
        ("facts.toml", 'name = "dropless"', 'name = "dropless_now"', 'no fact "dropless"'),
        ("protocol.toml", "[kind.inflammation]", "[kind.inflamed]", 'no kind of look "inflammation"'),
        ("review.toml", 'medicine = "timolol-0-5"', 'medicine = "dorzolamide-2"', "is no beta-blocker"),
        (
            "review.toml",
            'finding = "vision_falling"\nis',
            'finding = "vision_fell"\nis',
            'no finding "vision_fell"',
        ),
        ("review.toml", 'when = ["stitched"]', 'when = ["sewn"]', 'no fact "sewn"'),
        (
            "review.toml",
            'need = "leak", days = [1, 1, 1]',
            'need = "leaks", days = [1, 1, 1]',
            'no kind of look "leaks"',
        ),
        (
            "review.toml",
            'medicine = "dexamethasone-0-1"\ncount = 4\ndays = 42',
            'medicine = "none-such"\ncount = 4\ndays = 42',
            'no medicine "none-such"',
        ),
    ],
)
def test_what_a_review_needs_must_be_there(folder, file, old, new, what):
    change(folder, file, (old, new))
    assert any(what in problem.what for problem in lint_protocol(folder))
    with pytest.raises(FollowupError) as caught:
        load_protocol(folder)
    assert caught.value.line in [problem.line for problem in lint_protocol(folder)]


def test_a_folder_that_is_none_is_one_problem(tmp_path):
    (problem,) = lint_protocol(tmp_path / "none")
    assert problem.code == "protocol.folder"
