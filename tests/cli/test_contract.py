"""What every command owes its caller, shown with commands of our own making."""

from __future__ import annotations

import sys

import click
import pytest

from followup.cli.contract import BAD_INPUT, DONE, FAULT, CommandOutcome, run, visible
from followup.errors import FollowupError


def command(outcome: object) -> click.Command:
    """A command that returns ``outcome``, or raises it where it is an exception."""

    @click.command()
    @click.option("--day")
    def made(day: str | None) -> object:
        if isinstance(outcome, BaseException):
            raise outcome
        return outcome

    return made


def test_a_command_that_did_all_it_should_ends_with_0_and_says_nothing_else(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(command(CommandOutcome("done\n")), []) == DONE
    assert capsys.readouterr() == ("done\n", "")


@pytest.mark.parametrize(
    ("failure", "code", "line"),
    [
        (FollowupError("x.y", "wrong", where="file", fix="mend it"), BAD_INPUT, "file: wrong - mend it"),
        (FollowupError("fault.disk", "the disk is full"), FAULT, "the disk is full"),
        (click.UsageError("no such\nthing."), BAD_INPUT, "no such thing"),
        (click.Abort(), FAULT, "stopped before the end"),
        (KeyboardInterrupt(), FAULT, "stopped before the end"),
        (BrokenPipeError(32, "Broken pipe"), FAULT, "could not be written whole"),
        (KeyError("secret detail"), FAULT, "internal fault (KeyError)"),
        (RecursionError("deep"), FAULT, "internal fault (RecursionError)"),
    ],
)
def test_every_failure_is_one_line_and_its_own_exit_code(
    failure: BaseException, code: int, line: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(command(failure), []) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert err.endswith("\n")
    assert err.startswith("followup: ")
    assert line in err


def test_a_fault_does_not_quote_data_unless_the_traceback_is_asked_for(
    capsys: pytest.CaptureFixture[str],
) -> None:
    fault = ValueError("Amina, left eye")
    assert run(command(fault), []) == FAULT
    assert "Amina" not in capsys.readouterr().err
    assert run(command(fault), ["--trace"]) == FAULT
    traced = capsys.readouterr().err
    assert "Traceback" in traced
    assert "Amina, left eye" in traced


def test_a_refused_record_still_prints_what_can_be_said(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(command(CommandOutcome("by hand\n", BAD_INPUT, "refused: a child")), []) == BAD_INPUT
    assert capsys.readouterr() == ("by hand\n", "followup: refused: a child\n")


def test_a_bad_option_points_to_the_help_of_its_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(command(CommandOutcome()), ["--dya", "x"]) == BAD_INPUT
    err = capsys.readouterr().err
    assert "--dya" in err
    assert "--help" in err
    assert err.count("\n") == 1


def test_an_endless_message_is_cut(capsys: pytest.CaptureFixture[str]) -> None:
    run(command(click.UsageError("x" * 100_000)), [])
    assert len(capsys.readouterr().err) < 1100


@pytest.mark.parametrize("character", ["\x1b", "\x07", "\r", "\x9b", "\u202e", "\u2028", "\x00"])
def test_no_character_that_drives_a_terminal_gets_out(
    character: str, capsys: pytest.CaptureFixture[str]
) -> None:
    run(command(FollowupError("a.b", f"before{character}after")), [])
    assert character not in capsys.readouterr().err
    assert character not in visible(f"a{character}b")


def test_joiners_that_names_need_are_kept() -> None:
    assert visible("\u0995\u09cd\u200d\u09b7\nnext") == "\u0995\u09cd\u200d\u09b7\nnext"


def test_a_closed_stdout_is_a_fault_and_not_silence(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    class Closed:
        def write(self, text: str) -> int:
            raise OSError(28, "No space left on device")

        def flush(self) -> None: ...

        def fileno(self) -> int:
            raise ValueError("closed")

    monkeypatch.setattr(sys, "stdout", Closed())
    assert run(command(CommandOutcome("text")), []) == FAULT
    monkeypatch.undo()
    assert "No space left on device" in capsys.readouterr().err
