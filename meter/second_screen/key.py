"""The key of one run: who has it may look.

It stands in the fragment of the address, which a browser sends to nobody; the page reads it there and sends
it in a header. So it stands in no log of a proxy and in no list of addresses that were asked for.
"""

from __future__ import annotations

import hmac
import secrets
from typing import Final

KEY_BYTES: Final = 16
"""128 bits."""

SCHEME: Final = "Bearer "
"""Before the key in the header `Authorization`. Source: RFC 6750, 2.1."""


def new_key() -> str:
    """A key that nobody can guess, in 22 characters that may stand in an address."""
    return secrets.token_urlsafe(KEY_BYTES)


def is_right(given: str | None, key: str) -> bool:
    """Whether a header brought the key; takes as long for a nearly right one as for a wrong one.

    Parameters
    ----------
    given : str or None
        The header `Authorization`; None where there was none.
    key : str
    """
    expected = f"{SCHEME}{key}".encode()
    return hmac.compare_digest((given or "").encode("utf-8", "replace"), expected)
