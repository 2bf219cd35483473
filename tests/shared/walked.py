"""A walk over the desks: every page that is looked at becomes an outline, by the file of its pin."""

from __future__ import annotations

import gc
import re
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from typing import Any
from unittest.mock import patch

from doors import ROLES, WHO_MAY
from jinja2 import Template
from page_outline import outline
from page_pins import Pages

NOBODY = "nobody"

_WHY = re.compile(
    r'<details class="why">\s*<summary>why[^<]*</summary>\s*<ul>(.*?)</ul>\s*</details>', re.DOTALL
)


@dataclass
class Drawn:
    """One page as it was drawn: where its outline stands, and what its template was given."""

    file: str
    name: str
    template: str
    given: dict[str, Any]
    whys: bool


@dataclass(repr=False)
class Walk:
    """Everybody's way through the clinic of ``house``."""

    house: Any
    pages: Pages = field(default_factory=dict)
    routes: set[tuple[str, str]] = field(default_factory=set)
    drawn: list[Drawn] = field(default_factory=list)
    whys: bool = False
    _browsers: dict[str, Any] = field(default_factory=dict)
    _entered: dict[str, Any] = field(default_factory=dict)
    _frames: dict[str, dict[str, str]] = field(default_factory=dict)
    _outlined: dict[str, list[str]] = field(default_factory=dict)
    _rendered: list[tuple[str, dict[str, Any]]] = field(default_factory=list)

    # ---- doing ------------------------------------------------------------------------------
    def browser(self, who: str) -> Any:
        """Somebody's browser; a new log-in where the clock was moved, as a session ends."""
        now = self.house.clock.now
        if who not in self._browsers or (who != NOBODY and self._entered[who] != now):
            browser = self.house.browser() if who == NOBODY else self.house.enter(who)
            self._browsers[who], self._entered[who] = browser, now
        return self._browsers[who]

    def say(self, who: str, what: str, /, **sent: Any) -> Any:
        """Do something over JSON, which must not be refused."""
        method, path = what.split()
        answer = self.browser(who).request(method, f"/api{path}", json=sent or None)
        assert answer.status_code < 300, f"{what}: {answer.status_code} {answer.text}"
        return answer.json() if answer.content else None

    # ---- looking ----------------------------------------------------------------------------
    def see(self, name: str, path: str, *only: str, whys: bool = False) -> None:
        """The page at ``path`` for everybody who may see it, or for ``only`` these.

        ``whys``: with every reason, which other pages count alone.
        """
        self.whys = whys
        route = self._route("GET", path)
        for role in only or ROLES:
            if only or role in WHO_MAY[route]:
                self._keep(name, role, self.browser(role).get(path))

    def lost(self, name: str, who: str, path: str) -> None:
        """What somebody is told where there is no such page."""
        self._keep(name, who, self.browser(who).get(path))

    def send(self, name: str, who: str, path: str, /, **sent: Any) -> Any:
        """A form that is answered with a page: one that is refused, or shows its effect."""
        self._route("POST", path)
        answer = self.browser(who).post(path, data=sent)
        assert answer.status_code != 303, f"{name}: went on to {answer.headers['location']}"
        self._keep(name, who, answer)
        return answer

    def _route(self, method: str, path: str) -> tuple[str, str]:
        path = path.partition("?")[0]
        fits = [one for one in WHO_MAY if _fits(one, method, path)]
        assert fits, f"{method} {path} is no route of the table"
        # A literal path comes before one with a part that may be anything.
        route = min(fits, key=lambda one: one[1].count("{"))
        self.routes.add(route)
        return route

    def _keep(self, name: str, role: str, answer: Any) -> None:
        assert "text/html" in answer.headers.get("content-type", ""), f"{name}: {answer.status_code}"
        template, given = self._rendered.pop()
        self._rendered.clear()
        self.add(name, role, template, given, answer.text)

    def add(self, name: str, role: str, template: str, given: dict[str, Any], html: str) -> None:
        file = template.removeprefix("desks/").removesuffix(".html")
        title = f"{role}: {name}"
        found = self.pages.setdefault(file, {})
        assert title not in found, f"{file}: {title} twice"
        found[title] = self.lines(role, html)
        self.drawn.append(Drawn(file, title, template, given, self.whys))

    def vary(self, name: str, page: str, /, instead: bool = False, **changed: Any) -> None:
        """A page again as its template draws it of something else: what a few invented people never show.

        ``instead``: in place of the page itself, of which it keeps the shape.
        """
        file, title = page.split("/", 1)
        before = self.page(page)
        given = before.given | changed
        language = given.get("language", "en")
        from followup.desks.page.pages import environment

        html = environment(language, given["today"].year).get_template(before.template).render(**given)
        self._rendered.clear()
        role = title.split(":")[0]
        if instead:
            self.pages[file].pop(title)
            self.drawn.remove(before)
        self.add(name, role, before.template, given, html)

    def page(self, page: str) -> Drawn:
        """A page of the walk, named as "plan/surgeon: signed"."""
        return next(one for one in self.drawn if f"{one.file}/{one.name}" == page)

    # ---- reading ----------------------------------------------------------------------------
    def lines(self, role: str, html: str) -> list[str]:
        """The outline; what stands around every page of a role is kept once, as the frame."""
        if not self.whys:
            html = _WHY.sub(
                lambda found: f"<details class=why>{found[1].count('<li>')} reasons</details>", html
            )
        around, main, rest = html.partition('<main id="main">')
        if not main:
            return outline(html, self.tidy)
        if around not in self._outlined:
            self._outlined[around] = outline(around, self.tidy)
        frame = self._outlined[around]
        title = [line.strip() for line in frame if line.strip().startswith("title")]
        here = [line.strip() for line in frame if "aria-current" in line]
        frame = [line.replace(" aria-current=page", "") for line in frame if line.strip() not in title]
        known = self._frames.setdefault(role, {})
        key = "\n".join(frame)
        if key not in known:
            known[key] = f"{role} {len(known) + 1}" if known else role
            self.pages.setdefault("frame", {})[known[key]] = frame
        said = [] if known[key] == role else [f"frame: {known[key]}"]
        return [*said, *title, *_here(here), *outline(rest.partition("</main>")[0], self.tidy)]

    def tidy(self, text: str) -> str:
        """Without what is new each time: marks of what was seen, forms' own numbers, the protocol's."""
        text = text.replace(self.house.desk.protocol.hash, "(fingerprint)")
        return re.sub(r"^(?:[0-9a-f]{16}|[0-9a-f]{64}|[\w-]{32})$", "(new each time)", text)

    @contextmanager
    def watching(self) -> Iterator[None]:
        """While pages are drawn, what their templates are given is kept."""
        render = Template.render

        def rendering(template: Template, *args: Any, **given: Any) -> str:
            if not args and "clinic" in given:
                self._rendered.append((template.name or "", given))
            return render(template, *args, **given)

        with ExitStack() as stack:
            stack.enter_context(patch.object(Template, "render", rendering))
            # No page shows the paper, and laying one out takes as long as ten pages.
            stack.enter_context(patch("followup.care.sheets.content.render_pdf"))
            # What is kept of every page makes each round of the collector longer, and is all still in use.
            gc.disable()
            stack.callback(gc.enable)
            yield


def _fits(route: tuple[str, str], method: str, path: str) -> bool:
    asked, pattern = route
    parts, given = pattern.split("/"), path.split("/")
    return (
        asked == method
        and len(parts) == len(given)
        and all(part == one or part.startswith("{") for part, one in zip(parts, given, strict=True))
    )


def _here(lines: list[str]) -> list[str]:
    return [f"here: {match}" for line in lines for match in re.findall(r"href=(\S+) aria-current", line)]
