"""Where a request comes from: the address that wrong log-ins are counted by."""

from __future__ import annotations

from ipaddress import IPv6Address, IPv6Network, ip_address

from fastapi import Request

_LONGEST = 60
# Whoever has an IPv6 address has a whole network of them (RFC 6177).
_ONE_SUBSCRIBER = 64


def client_address(request: Request, trusted_proxy: str = "") -> str:
    """The client's address; of IPv6 its /64 network.

    Only what ``trusted_proxy`` itself wrote is believed: the last hop of X-Forwarded-For. All before it was
    sent by whoever asks.
    """
    peer = _plain(request.client.host if request.client else "")
    if trusted_proxy and peer == _plain(trusted_proxy):
        hops = ",".join(request.headers.getlist("x-forwarded-for"))
        return _plain(hops.rpartition(",")[2].strip()) or peer
    return peer


def _plain(text: str) -> str:
    try:
        address = ip_address(text)
    except ValueError:
        return text[:_LONGEST]
    if isinstance(address, IPv6Address):
        if address.ipv4_mapped is not None:
            return str(address.ipv4_mapped)
        return str(IPv6Network((int(address), _ONE_SUBSCRIBER), strict=False))
    return str(address)
