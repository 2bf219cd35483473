"""What the needs of a protocol must be: of one kind each, joinable, and never hanging in a circle."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from graphlib import CycleError, TopologicalSorter

from followup.clinical.protocol.files import Placed
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.protocol.rule import NeedEffect
from followup.errors import FollowupError


def check_needs(protocol: Protocol, rules: Sequence[Placed]) -> Iterator[FollowupError]:
    """Needs of one id are of one kind and differ only where the kind says how to join them."""
    first: dict[str, object] = {}
    for source, i, rule in rules:
        for need in rule.need:
            window = (need.kind, need.earliest, need.target, need.latest)
            merge = protocol.kinds[need.kind].merge if need.kind in protocol.kinds else None
            if first.setdefault(need.id, window) != window and merge == "same":
                what = (
                    f'the need "{need.id}" stands with two windows and its kind does not say how to join them'
                )
                yield source.refuse("protocol.need", what, "rule", i)
    yield from _circle(rules, _after, "hang on each other")
    yield from _circle(rules, lambda need: need.unless_need, "give way to each other")


def _after(need: NeedEffect) -> str | None:
    return need.after.need if need.after else None


def _circle(
    rules: Sequence[Placed], other: Callable[[NeedEffect], str | None], how: str
) -> Iterator[FollowupError]:
    """No plan could order needs that wait for each other: refused before there is a patient."""
    sorter: TopologicalSorter[str] = TopologicalSorter()
    for _, _, rule in rules:
        for need in rule.need:
            if (name := other(need)) is not None:
                sorter.add(need.id, name)
    try:
        sorter.prepare()
    except CycleError as exc:
        circle = set(exc.args[1])
        source, i = next(
            (s, i)
            for s, i, rule in reversed(rules)
            if any(need.id in circle and other(need) in circle for need in rule.need)
        )
        what = f"needs {how} in a circle: {', '.join(sorted(circle))}"
        yield source.refuse("protocol.need", what, "rule", i, "need", fix="cut the circle")
