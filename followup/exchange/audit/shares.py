"""A share of people with its interval, as it may be handed on."""

from __future__ import annotations

from dataclasses import dataclass

from followup.exchange.audit.definitions import AuditDefinitions
from followup.exchange.audit.masking import MaskedCell
from followup.wilson import wilson


@dataclass(frozen=True)
class AuditShare:
    """``count`` of ``of``. ``percent``, ``low`` and ``high`` in percent: None where either is masked, or
    nobody was looked at. ``missing``: of whom it was not written down; None where that would tell ``of``.
    ``bound``: fewer than so many are few."""

    count: MaskedCell
    of: MaskedCell
    missing: int | None
    percent: float | None = None
    low: float | None = None
    high: float | None = None
    bound: int = 0

    @property
    def most(self) -> float | None:
        """Of a few among many: the percentage that it is under; else None."""
        if self.count.why != "few" or not self.of.count:
            return None
        return 100 * self.bound / self.of.count


def share(count: int, of: int, missing: int | None, definitions: AuditDefinitions) -> AuditShare:
    """``count`` of ``of`` people, small numbers masked, with Wilson's score interval."""
    few = definitions.few
    whole = MaskedCell(None, "few") if 0 < of < few else MaskedCell(of)
    if 0 < count < few:
        part = MaskedCell(None, "few")
    elif whole.why or 0 < of - count < few:
        part = MaskedCell(None, "withheld")
    else:
        part = MaskedCell(count)
    return of_cells(part, whole, None if whole.why else missing, definitions)


def of_cells(
    part: MaskedCell, whole: MaskedCell, missing: int | None, definitions: AuditDefinitions
) -> AuditShare:
    """The share of two counts that are masked already."""
    if part.count is None or not whole.count:
        return AuditShare(part, whole, missing, bound=definitions.few)
    low, high = wilson(part.count, whole.count, definitions.percent)
    return AuditShare(part, whole, missing, 100 * part.count / whole.count, low, high)
