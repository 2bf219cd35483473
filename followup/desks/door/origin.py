"""Cross-site requests are refused by what the browser itself says about their origin.

No token in any form: browsers state Sec-Fetch-Site (W3C Fetch Metadata) on every request to a
trustworthy address, and Origin (RFC 6454) on every POST. A write that carries neither is refused.
"""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import urlsplit

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})


def is_cross_site(method: str, headers: Mapping[str, str]) -> bool:
    """True when a request that may change something can't be shown to come from our own pages."""
    if method in SAFE_METHODS:
        return False
    fetch_site = headers.get("sec-fetch-site")
    if fetch_site is not None:
        # "none" is the person's own doing (address bar, bookmark); "same-site" is another host.
        return fetch_site not in {"same-origin", "none"}
    origin = headers.get("origin")
    if origin is None:
        return True
    return urlsplit(origin).netloc != headers.get("host", "")
