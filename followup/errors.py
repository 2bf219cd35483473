"""The one family of errors that people read: what is wrong, where, how to mend it."""

from __future__ import annotations

from followup.typed import one_line, plain


class ErrorLine(str):
    """A whole error as one line, which still knows its parts: a page may put them into another language.

    In the parts, what a person typed is marked (see ``followup.typed``); the line itself has no marks.
    """

    what: str
    where: str
    fix: str

    @classmethod
    def of(cls, what: str, where: str = "", fix: str = "") -> ErrorLine:
        line = cls(plain(joined(what, where, fix)))
        line.what, line.where, line.fix = what, where, fix
        return line


class FollowupError(Exception):
    """Bad input or a refused step, said in one line.

    ``code`` is stable and machine readable (``record.field``, ``protocol.rule``...), ``what``
    says what is wrong, ``where`` names the file, row or field, ``fix`` says how to mend it.
    """

    def __init__(self, code: str, what: str, *, where: str = "", fix: str = "") -> None:
        self.code = code
        self.line = ErrorLine.of(_one_line(what), _one_line(where), _one_line(fix))
        """The whole error as one line."""
        self.what, self.where, self.fix = plain(self.line.what), plain(self.line.where), plain(self.line.fix)
        super().__init__(self.line)


def joined(what: str, where: str, fix: str) -> str:
    """The parts of an error in the order in which people read them."""
    head = f"{where}: {what}" if where else what
    return f"{head} - {fix}" if fix else head


def _one_line(text: str, limit: int = 300) -> str:
    flat = one_line(text)
    if flat == text and len(flat) <= limit:
        return text  # it may be more than its letters, such as a place in a record
    return flat if len(flat) <= limit else flat[: limit - 3] + "..."
