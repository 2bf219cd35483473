"""The signatures under protocols: a row here, never a field of the protocol itself."""

from __future__ import annotations

from sqlmodel import Session

from followup.errors import FollowupError
from followup.records.duties import SURGEON
from followup.records.store.store import Unit
from followup.records.tables import ProtocolSignatureRow
from followup.records.views import ProtocolSignature
from followup.said import say
from followup.typed import typed


def sign_protocol(unit: Unit, *, hash: str, name: str, version: str) -> ProtocolSignature:
    """The surgeon approves the protocol with exactly this hash for patients of the clinic.

    Errors: ``role.missing``; ``protocol.registration`` when the signer has no registration number;
    ``protocol.signed`` when it is signed already.
    """
    unit.need_role(*SURGEON)
    unit.need_whole_clinic()
    if not unit.actor.registration:
        raise FollowupError(
            "protocol.registration",
            say("{login} has no registration number", login=typed(unit.actor.login)),
            fix=say("have the manager enter the registration of the licensed clinician who signs"),
        )
    known = protocol_signature(unit.session, hash)
    if known is not None:
        raise FollowupError(
            "protocol.signed",
            say("already signed by {signer}", signer=typed(known.signer)),
            fix=say("nothing to do"),
        )
    row = ProtocolSignatureRow(
        hash=hash,
        name=name,
        version=version,
        signer=unit.actor.name or unit.actor.login,
        registration=unit.actor.registration,
        signed_by=unit.actor.login,
        signed_at=unit.now,
    )
    unit.session.add(row)
    unit.session.flush()
    unit.log("protocol signed", f"protocol:{hash[:12]}", hash=hash, name=name, version=version)
    return _view(row)


def protocol_signature(session: Session, hash: str) -> ProtocolSignature | None:
    """Who approved the protocol with this hash; None while nobody has."""
    row = session.get(ProtocolSignatureRow, hash)
    return _view(row) if row else None


def _view(row: ProtocolSignatureRow) -> ProtocolSignature:
    return ProtocolSignature(
        hash=row.hash,
        name=row.name,
        version=row.version,
        signer=row.signer,
        registration=row.registration,
        signed_at=row.signed_at,
    )
