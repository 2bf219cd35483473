"""The one family of errors that people read: what is wrong, where, how to mend it."""

from __future__ import annotations


class FollowupError(Exception):
    """Bad input or a refused step, said in one line.

    ``code`` is stable and machine readable (``record.field``, ``protocol.rule``...), ``what``
    says what is wrong, ``where`` names the file, row or field, ``fix`` says how to mend it.
    """

    def __init__(self, code: str, what: str, *, where: str = "", fix: str = "") -> None:
        self.code = code
        self.what = _one_line(what)
        self.where = _one_line(where)
        self.fix = _one_line(fix)
        super().__init__(self.line)

    @property
    def line(self) -> str:
        """The whole error as one line."""
        head = f"{self.where}: {self.what}" if self.where else self.what
        return f"{head} - {self.fix}" if self.fix else head


def _one_line(text: str, limit: int = 300) -> str:
    flat = " ".join(text.split())
    return flat if len(flat) <= limit else flat[: limit - 3] + "..."
