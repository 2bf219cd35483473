"""The file of keys."""

from __future__ import annotations

import json

import pytest

from followup.errors import FollowupError
from followup.recall.codes.keyring import create_keyring, load_keyring, rotate_keyring


def test_a_new_ring_is_readable_by_its_owner_alone_and_loads_again(tmp_path):
    path = tmp_path / "keys.json"
    made = create_keyring(path)
    assert path.stat().st_mode & 0o777 == 0o600
    assert load_keyring(path) == made
    assert [p.name for p in tmp_path.iterdir()] == ["keys.json"]


def test_an_existing_ring_is_never_overwritten(tmp_path):
    path = tmp_path / "keys.json"
    made = create_keyring(path)
    with pytest.raises(FollowupError) as caught:
        create_keyring(path)
    assert caught.value.code == "keyring.exists"
    assert load_keyring(path) == made


def test_rotation_adds_a_key_and_keeps_the_old_ones(tmp_path):
    path = tmp_path / "keys.json"
    made = create_keyring(path)
    turned = rotate_keyring(path)
    assert turned.newest != made.newest
    assert turned.keys[made.newest] == made.keys[made.newest]
    assert load_keyring(path) == turned
    assert path.stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("mode", [0o640, 0o620, 0o610, 0o604, 0o602, 0o601])
def test_a_ring_that_others_can_read_or_change_is_refused(tmp_path, mode):
    path = tmp_path / "keys.json"
    create_keyring(path)
    path.chmod(mode)
    with pytest.raises(FollowupError) as caught:
        load_keyring(path)
    assert caught.value.code == "keyring.open"


def test_while_another_program_adds_a_key_nothing_is_added(tmp_path):
    path, lock = tmp_path / "keys.json", tmp_path / "keys.json.turning"
    made = create_keyring(path)
    lock.touch()
    with pytest.raises(FollowupError) as caught:
        rotate_keyring(path)
    assert (caught.value.code, load_keyring(path), lock.exists()) == ("keyring.busy", made, True)
    lock.unlink()
    assert len(rotate_keyring(path).keys) == 2
    assert not lock.exists()


def test_a_missing_ring_says_so(tmp_path):
    with pytest.raises(FollowupError) as caught:
        load_keyring(tmp_path / "keys.json")
    assert caught.value.code == "keyring.missing"


@pytest.mark.parametrize(
    "content",
    [
        "",
        "{}",
        "[]",
        "nonsense",
        json.dumps({"newest": "02", "keys": {"01": "00" * 32}}),
        json.dumps({"newest": "01", "keys": {"01": "00" * 8}}),
        json.dumps({"newest": "01", "keys": {"01": "zz" * 32}}),
        json.dumps({"newest": "U1", "keys": {"U1": "00" * 32}}),
        json.dumps({"newest": "01", "keys": {"01": 5}}),
    ],
)
def test_a_damaged_ring_is_refused_in_one_line(tmp_path, content):
    path = tmp_path / "keys.json"
    path.write_text(content)
    path.chmod(0o600)
    with pytest.raises(FollowupError) as caught:
        load_keyring(path)
    assert caught.value.code == "keyring.file"
    assert "\n" not in caught.value.line


def test_a_ring_does_not_show_its_keys_when_printed(tmp_path):
    made = create_keyring(tmp_path / "keys.json")
    assert made.keys[made.newest].hex() not in repr(made)
    assert "keys" not in repr(made)
