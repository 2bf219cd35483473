"""How every command ends: one line on stderr and an exit code that programs can trust.

0 only if all was done; 2 for bad input or a refused record; 1 for a fault of ours or of the
computer. ``--trace`` anywhere on the command line shows the traceback of a fault.
"""

from __future__ import annotations

import errno
import io
import os
import re
import sys
import traceback
from collections.abc import Sequence
from dataclasses import dataclass

import click

from followup.errors import FollowupError
from followup.typed import plain

DONE, FAULT, BAD_INPUT = 0, 1, 2
TRACE = "--trace"

# Control characters could forge lines or drive a terminal, bidirectional overrides could turn a
# dose round; joiners (U+200C, U+200D) stay, names in Indic scripts need them.
_UNSAFE = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff]")


@dataclass(frozen=True)
class CommandOutcome:
    """What a command has to say: ``text`` for stdout, ``error`` as one line for stderr."""

    text: str = ""
    code: int = DONE
    error: str = ""


def run(command: click.Command, args: Sequence[str]) -> int:
    """Run ``command`` and return the exit code; nothing is ever raised."""
    trace = TRACE in args
    _plain_utf8()
    try:
        # Not command.main(): it prints and exits by itself on some failures.
        with command.make_context("followup", [arg for arg in args if arg != TRACE]) as context:
            result = command.invoke(context)
        outcome = result if isinstance(result, CommandOutcome) else CommandOutcome()
    except BaseException as exc:
        outcome = _failure(exc, trace=trace)
    return _finish(outcome)


def say(text: str) -> None:
    """Print now, for commands that go on running; control characters are shown, not sent."""
    sys.stdout.write(visible(text) + "\n")
    sys.stdout.flush()


def visible(text: str) -> str:
    """``text`` with every character that could drive a terminal written out, such as ``\\x1b``.

    The marks around what a person typed are taken out: nobody looks for sentences here.
    """
    return _UNSAFE.sub(lambda match: match.group().encode("unicode_escape").decode("ascii"), plain(text))


def _finish(outcome: CommandOutcome) -> int:
    code = outcome.code
    error = outcome.error
    try:
        if outcome.text:
            sys.stdout.write(outcome.text)
        sys.stdout.flush()
    except (OSError, ValueError) as exc:
        _forget_stdout()
        reason = exc.strerror if isinstance(exc, OSError) else "it is closed"
        code, error = FAULT, f"the output could not be written whole: {reason}"
    if error:
        _complain(error)
    return code


def _failure(exc: BaseException, *, trace: bool) -> CommandOutcome:
    """The outcome that an exception stands for."""
    if isinstance(exc, FollowupError):
        return CommandOutcome(code=FAULT if exc.code.startswith("fault.") else BAD_INPUT, error=exc.line)
    if isinstance(exc, click.exceptions.Exit):
        return CommandOutcome(code=exc.exit_code)
    if isinstance(exc, click.exceptions.NoArgsIsHelpError):
        return CommandOutcome(code=BAD_INPUT, error="no command given - followup --help lists them")
    if isinstance(exc, click.ClickException):
        return CommandOutcome(code=BAD_INPUT, error=_usage(exc))
    if isinstance(exc, (click.Abort, KeyboardInterrupt)):
        return CommandOutcome(code=FAULT, error="stopped before the end")
    if isinstance(exc, BrokenPipeError):
        _forget_stdout()
        return CommandOutcome(code=FAULT, error="the output could not be written whole: its reader closed it")
    if isinstance(exc, OSError) and exc.strerror and not trace:
        named = f"{exc.filename}: " if exc.filename else ""
        return CommandOutcome(code=FAULT, error=f"{named}the computer refused: {exc.strerror}")
    if trace:
        return CommandOutcome(code=FAULT, error="".join(traceback.format_exception(exc)).rstrip())
    kind = f"{type(exc).__module__}.{type(exc).__qualname__}".removeprefix("builtins.")
    return CommandOutcome(
        code=FAULT, error=f"internal fault ({kind}), nothing of yours is to blame - add {TRACE} to see where"
    )


def _usage(exc: click.ClickException) -> str:
    hint = ""
    if isinstance(exc, click.UsageError) and exc.ctx is not None:
        hint = f" - {exc.ctx.command_path} --help explains"
    return exc.format_message().rstrip(".") + hint


def _complain(error: str) -> None:
    """One line, whatever the message holds; a traceback asked for keeps its lines."""
    text = error if error.startswith("Traceback") else " ".join(error.split())
    if len(text) > 1000 and not error.startswith("Traceback"):
        text = text[:997] + "..."
    try:
        sys.stderr.write(f"followup: {visible(text)}\n")
        sys.stderr.flush()
    except (OSError, ValueError, AttributeError):
        return  # nobody listens; the exit code still speaks


def _plain_utf8() -> None:
    """The same bytes under every locale."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(encoding="utf-8", errors="backslashreplace", newline="\n")
    if sys.stdout is None:  # it was closed before the program began
        sys.stdout = _Closed()


class _Closed(io.TextIOBase):
    """A standard output that nobody gave us: nothing may seem to have been printed."""

    def write(self, text: str) -> int:
        raise OSError(errno.EBADF, os.strerror(errno.EBADF))


def _forget_stdout() -> None:
    """Point stdout elsewhere, else the interpreter complains a second time at its end."""
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
    except (OSError, ValueError, AttributeError):
        sys.stdout = io.StringIO()
