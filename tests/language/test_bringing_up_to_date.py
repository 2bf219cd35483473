"""The script that brings catalogues up to date: an unchanged tree stays as it is, and every file is sound."""

from __future__ import annotations

import re
import runpy
import shutil
import subprocess
from pathlib import Path

import pytest
from babel.messages.checkers import TranslationError, num_plurals
from babel.messages.pofile import read_po

from followup.desks.words.extraction import DESK_LANGUAGES, desk_messages
from followup.language.extraction import sheet_messages
from followup.language.languages import LANGUAGES
from followup.resources import folder

FILES = [(tag, "sheet") for tag in LANGUAGES] + [(tag, "desk") for tag in DESK_LANGUAGES]


def _path(root: Path, tag: str, domain: str) -> Path:
    return root / tag / "LC_MESSAGES" / f"{domain}.po"


def _script():
    place = Path(__file__).resolve().parents[2] / "locales" / "update_catalogues.py"
    if not place.is_file():
        pytest.skip("the script belongs to the source tree, and this is an installed program")
    return runpy.run_path(str(place))


@pytest.mark.parametrize("domain", ["sheet", "desk"])
def test_an_unchanged_tree_is_left_byte_for_byte_as_it_was(tmp_path, domain):
    shutil.copytree(folder("locales"), tmp_path / "locales")
    update = _script()["update"]
    source = sheet_messages() if domain == "sheet" else desk_messages()
    changed = []
    for tag, of in FILES:
        if of == domain:
            file = _path(tmp_path / "locales", tag, domain)
            before = file.read_bytes()
            update(LANGUAGES[tag], domain, source, tmp_path)
            if file.read_bytes() != before:
                changed.append(f"{tag}/{domain}.po")
    assert changed == [], "run: python locales/update_catalogues.py"


@pytest.mark.parametrize(("tag", "domain"), FILES)
def test_every_catalogue_passes_the_checks_of_gettext(tag, domain):
    path = _path(folder("locales"), tag, domain)
    with path.open("rb") as file:
        catalogue = read_po(file, locale=tag, abort_invalid=True)
    header = path.read_text("utf-8").partition("\n\n")[0]
    assert "Content-Type: text/plain; charset=UTF-8" in header
    stated = re.search(r"nplurals=(\d+); plural=", header)
    assert stated is not None
    assert int(stated[1]) == len(LANGUAGES[tag].categories) == catalogue.num_plurals
    assert [problem for message in catalogue if message.id for problem in _wrong(catalogue, message)] == []


def _wrong(catalogue, message):
    """What gettext's own check would find: a missing form, or a value that the English does not have."""
    forms = message.string if message.pluralizable else [message.string]
    if not any(forms):
        return  # no words at all yet: that is for those who count what is missing
    try:
        num_plurals(catalogue, message)
    except TranslationError as exc:
        yield message.id, str(exc)
    # A percent sign without a name is a sign: "0.1%" holds no value, whatever follows it.
    english = " ".join(message.id if message.pluralizable else [message.id])
    if "%(" not in english:
        return
    values = dict.fromkeys(re.findall(r"%\((\w+)\)", english), 7)
    for form in forms:
        try:
            _ = form % values
        except (KeyError, TypeError, ValueError) as exc:
            yield message.id, f"{form!r}: {exc!r}"


@pytest.mark.parametrize(("tag", "domain"), FILES)
def test_msgfmt_itself_finds_nothing_where_it_is_installed(tag, domain):
    program = shutil.which("msgfmt")
    if program is None:
        pytest.skip("gettext's own tools are not on this computer")
    path = _path(folder("locales"), tag, domain)
    done = subprocess.run(
        [program, "-c", "-o", "/dev/null", str(path)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
