"""A strict reader of RFC 5545, written from the standard and from nothing else.

Source: RFC 5545, 3.1 (lines: CRLF, at most 75 octets, folds), 3.3.11 (escapes of TEXT), 3.6 (components).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from dateutil.rrule import rrulestr

_LINE = re.compile(
    r'(?P<name>[A-Za-z0-9-]+)(?P<parameters>(?:;[A-Za-z0-9-]+=(?:"[^"]*"|[^";:,]*))*):(?P<value>.*)'
)


@dataclass
class Component:
    """``lines``: name, parameters and value as written; each name of an event stands once here."""

    kind: str
    lines: list[tuple[str, dict[str, str], str]] = field(default_factory=list)
    parts: list[Component] = field(default_factory=list)

    def value(self, name: str) -> str | None:
        found = [value for own, _, value in self.lines if own == name]
        assert len(found) <= 1, f"{name} stands {len(found)} times"
        return found[0] if found else None

    def text(self, name: str) -> str:
        return unescaped(self.value(name) or "")

    def parameters(self, name: str) -> dict[str, str]:
        return next(given for own, given, _ in self.lines if own == name)

    def all(self, kind: str) -> list[Component]:
        return [part for part in self.parts if part.kind == kind]


def unescaped(value: str) -> str:
    """A TEXT as it was meant; what is escaped otherwise than the standard allows fails."""
    assert not re.search(r"(?<!\\)(?:\\\\)*[;,]", value), f"a bare sign in {value!r}"
    found = re.sub(r"\\(.)", lambda sign: {"n": "\n", "N": "\n"}.get(sign[1], sign[1]), value)
    assert re.fullmatch(r"(?:[^\\]|\\[\\;,nN])*", value), value
    return found


def read_calendar(data: bytes) -> Component:
    """The one VCALENDAR of a file."""
    assert data.endswith(b"\r\n")
    physical = data[:-2].split(b"\r\n")
    assert all(len(line) <= 75 for line in physical), max(physical, key=len)
    assert not any(b"\r" in line or b"\n" in line for line in physical)
    # No character is torn: each line is text by itself.
    written = [line.decode("utf-8") for line in physical]
    assert not any(c < " " and c != "\t" for line in written for c in line)
    lines: list[str] = []
    for line in written:
        if line[:1] in (" ", "\t"):
            lines[-1] += line[1:]
        else:
            assert line
            lines.append(line)
    open_ones = [Component("")]
    for line in lines:
        match = _LINE.fullmatch(line)
        assert match, line
        name, value = match["name"].upper(), match["value"]
        if name == "BEGIN":
            open_ones.append(Component(value))
        elif name == "END":
            done = open_ones.pop()
            assert done.kind == value
            open_ones[-1].parts.append(done)
        else:
            given = dict(part.split("=", 1) for part in match["parameters"].split(";")[1:])
            open_ones[-1].lines.append((name, given, value))
    assert len(open_ones) == 1
    (calendar,) = open_ones[0].parts
    assert calendar.kind == "VCALENDAR"
    assert calendar.value("VERSION") == "2.0"
    assert calendar.value("PRODID")
    for event in calendar.all("VEVENT"):
        assert event.value("UID")
        assert re.fullmatch(r"\d{8}T\d{6}Z", event.value("DTSTAMP") or "")
    return calendar


def offset_of(clock: Component, local: datetime) -> timedelta:
    """What a VTIMEZONE says of the distance from UTC at a local time that there is once.

    The observance that began last counts (section 3.6.5).
    """
    begun: list[tuple[datetime, timedelta]] = []
    for part in clock.parts:
        start = datetime.fromisoformat(part.value("DTSTART") or "")
        onsets = [start]
        for name, _, value in part.lines:
            if name == "RDATE":
                onsets += [datetime.fromisoformat(one) for one in value.split(",")]
            if name == "RRULE":
                onsets += list(rrulestr(value, dtstart=start).between(start, local, inc=True))
        begun += [(onset, _offset(part.value("TZOFFSETTO") or "")) for onset in onsets if onset <= local]
    return max(begun)[1]


def _offset(written: str) -> timedelta:
    sign, hours, minutes = written[0], int(written[1:3]), int(written[3:5])
    return (-1 if sign == "-" else 1) * timedelta(hours=hours, minutes=minutes)
