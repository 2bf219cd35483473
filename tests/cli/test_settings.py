"""Settings: where they come from, what is refused, and that a secret never stands in a message."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import ValidationError

from followup.errors import FollowupError
from followup.settings import Settings, load_settings


def test_without_anything_given_the_data_lie_in_the_users_own_data_folder() -> None:
    settings = load_settings({})
    assert settings.folder.is_absolute()
    assert settings.database_url == f"sqlite:///{settings.folder / 'followup.sqlite3'}"
    assert settings.key_file.parent == settings.folder
    assert settings.host == "127.0.0.1"
    assert settings.protocol is None


def test_the_environment_sets_a_key_and_the_command_line_overrules_it(tmp_path: Path) -> None:
    env = {"FOLLOWUP_FOLDER": str(tmp_path / "env"), "FOLLOWUP_PORT": "9000"}
    assert load_settings(env).folder == tmp_path / "env"
    given = load_settings(env, {"folder": tmp_path / "given", "port": None})
    assert (given.folder, given.port) == (tmp_path / "given", 9000)
    assert given.database_url.startswith(f"sqlite:///{tmp_path / 'given'}")


def test_an_empty_variable_counts_as_not_set(tmp_path: Path) -> None:
    assert load_settings({"FOLLOWUP_PORT": "", "FOLLOWUP_FOLDER": str(tmp_path)}).port == 8470


def test_a_secret_may_come_from_a_file(tmp_path: Path) -> None:
    secret = tmp_path / "url"
    secret.write_text("postgresql+psycopg://clinic:word@db/clinic\n")
    settings = load_settings({"FOLLOWUP_DATABASE_URL_FILE": str(secret)})
    assert settings.database_url == "postgresql+psycopg://clinic:word@db/clinic"


@pytest.mark.parametrize(
    ("env", "named"),
    [
        ({"FOLLOWUP_PORT": "0"}, "FOLLOWUP_PORT"),
        ({"FOLLOWUP_PORT": "65536"}, "FOLLOWUP_PORT"),
        ({"FOLLOWUP_PORT": "eighty"}, "FOLLOWUP_PORT"),
        ({"FOLLOWUP_HOST": "two words"}, "FOLLOWUP_HOST"),
        ({"FOLLOWUP_FOLDER": "   "}, "FOLLOWUP_FOLDER"),
        ({"FOLLOWUP_FOLDER": "a\0b"}, "FOLLOWUP_FOLDER"),
        ({"FOLLOWUP_DATABASE_URL": "mysql://clinic"}, "FOLLOWUP_DATABASE_URL"),
        ({"FOLLOWUP_DATABASE_URL": "sqlite:///"}, "FOLLOWUP_DATABASE_URL"),
        ({"FOLLOWUP_DATABASE_URL_FILE": "/nowhere/at/all"}, "FOLLOWUP_DATABASE_URL_FILE"),
    ],
)
def test_a_bad_value_is_refused_in_one_line_that_names_its_key(env: dict[str, str], named: str) -> None:
    with pytest.raises(FollowupError) as refused:
        load_settings(env)
    assert named in refused.value.line
    assert "\n" not in refused.value.line


@pytest.mark.parametrize("key", ["backup_passphrase", "mail_password"])
def test_every_secret_may_lie_in_a_file_and_is_shown_nowhere(tmp_path: Path, key: str) -> None:
    (tmp_path / "word").write_text("hush hush\n")
    settings = load_settings({f"FOLLOWUP_{key.upper()}_FILE": str(tmp_path / "word")})
    assert getattr(settings, key) == "hush hush"
    assert "hush" not in repr(settings)
    # What is no secret is never read from a file.
    assert load_settings({"FOLLOWUP_HOST_FILE": str(tmp_path / "word")}).host == "127.0.0.1"


def test_a_secret_given_twice_or_empty_is_refused(tmp_path: Path) -> None:
    empty = tmp_path / "empty"
    empty.write_text("\n")
    with pytest.raises(FollowupError, match="is empty"):
        load_settings({"FOLLOWUP_DATABASE_URL_FILE": str(empty)})
    with pytest.raises(FollowupError, match="both set"):
        load_settings({"FOLLOWUP_DATABASE_URL": "sqlite:///x", "FOLLOWUP_DATABASE_URL_FILE": str(empty)})


def test_the_password_of_a_refused_database_url_is_not_repeated() -> None:
    with pytest.raises(FollowupError) as refused:
        load_settings({"FOLLOWUP_DATABASE_URL": "postgres://clinic:hush-hush@db/clinic"})
    assert "hush-hush" not in refused.value.line


def test_settings_cannot_be_changed_and_every_key_says_what_it_is() -> None:
    settings = load_settings({})
    with pytest.raises(ValidationError):
        settings.port = 1  # type: ignore[misc]
    assert all(field.description for field in Settings.model_fields.values())
