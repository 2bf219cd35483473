"""How the clinic's own tables are read: each mapping by the name that the clinic gave it."""

from __future__ import annotations

from sqlmodel import Session, col, select

from followup.errors import FollowupError
from followup.records.duties import CLINICAL, PROGRAM
from followup.records.store.binding import site_of_session
from followup.records.store.store import Unit
from followup.records.tables import ListMappingRow
from followup.said import say
from followup.typed import typed

MOST_MAPPINGS = 100


def put_mapping(unit: Unit, *, name: str, body: str) -> None:
    """Keep ``body``, a mapping's JSON, under ``name``, in place of what stood there.

    Errors: ``role.missing``, ``mapping.name`` where there is none, ``mapping.many``.
    """
    unit.need_role(*CLINICAL, PROGRAM)
    name = " ".join(name.split())
    if not 1 <= len(name) <= 80:
        raise FollowupError(
            "mapping.name",
            say("the mapping needs a name of at most {most} letters", most=80),
            fix=say("name it"),
        )
    site = site_of_session(unit.session)
    row = unit.session.get(ListMappingRow, (site, name))
    if row is not None and row.body == body:
        return
    if row is None and len(mapping_names(unit.session)) >= MOST_MAPPINGS:
        raise FollowupError(
            "mapping.many",
            say("there are {most} mappings already", most=MOST_MAPPINGS),
            fix=say("change one of them"),
        )
    row = row or ListMappingRow(site_id=site, name=name, body="", by="", at=unit.now)
    row.body, row.by, row.at = body, unit.actor.login, unit.now
    unit.session.add(row)
    unit.session.flush()
    unit.log("list mapping set", f"mapping:{name}", site=site)


def mapping_names(session: Session) -> tuple[str, ...]:
    """The mappings of this place, by name."""
    here = col(ListMappingRow.site_id) == site_of_session(session)
    return tuple(session.exec(select(ListMappingRow.name).where(here).order_by(ListMappingRow.name)))


def mapping_body(session: Session, name: str) -> str:
    """The JSON of the mapping of this name. Error ``mapping.unknown``, which names those that there are."""
    row = session.get(ListMappingRow, (site_of_session(session), " ".join(name.split())))
    if row is None:
        known = ", ".join(typed(one) for one in mapping_names(session))
        what = (
            say("there is no mapping {name}; there are {known}", name=typed(name[:80]), known=known)
            if known
            else say("there is no mapping yet")
        )
        raise FollowupError("mapping.unknown", what, fix=say("name another one, or make it first"))
    return row.body
