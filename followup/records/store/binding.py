"""A session bound to one site of the clinic sees that site's people alone."""

from __future__ import annotations

from sqlalchemy import event
from sqlalchemy.orm import ORMExecuteState, with_loader_criteria
from sqlmodel import Session, col

from followup.records.tables import ErasedRow, OperationListRow, PatientRow, StaffRow

MAIN = 1


# Queries that must see every patient, such as the search for a code that is in use.
ALL_SITES = {"all_sites": True}


def bind_session(session: Session, site: int | None) -> None:
    """From now on ``session`` finds patients, operation lists and staff of ``site`` only; None: of all."""
    if site is None:
        return
    session.info["site"] = site

    def only_here(state: ORMExecuteState) -> None:
        if state.is_select and not state.execution_options.get("all_sites"):
            state.statement = state.statement.options(
                with_loader_criteria(PatientRow, col(PatientRow.site_id) == site, include_aliases=True),
                with_loader_criteria(OperationListRow, col(OperationListRow.site_id) == site),
                with_loader_criteria(ErasedRow, col(ErasedRow.site_id) == site),
                with_loader_criteria(StaffRow, col(StaffRow.site_id) == site),
            )

    event.listen(session, "do_orm_execute", only_here)


def site_of_session(session: Session) -> int:
    """Where new patients of this session belong: its site, else the first one."""
    found = session.info.get("site")
    return found if isinstance(found, int) else MAIN
