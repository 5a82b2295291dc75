"""Codes and tokens of a vote: drawn by the system, never by us."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from typing import Final

CODE_LETTERS: Final = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Without those that are misread for one another: 0 and O, 1, I and L, U and V."""
N_CODE_LETTERS: Final = 8
"""30**8 codes: at one try in five minutes, and a thousand phones, half a million years."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Secrets:
    """What must be known to take part.

    Parameters
    ----------
    join_code : str or None
        For listeners; None where only this machine can connect.
    host_token : str
        For the one who closes the vote.
    round_token : str
        Name of the round, should a new one be opened; no secret.
    """

    join_code: str | None
    host_token: str
    round_token: str


def new_secrets(*, needs_code: bool) -> Secrets:
    """Drawn anew for every start of the server."""
    code = "".join(secrets.choice(CODE_LETTERS) for _ in range(N_CODE_LETTERS))
    return Secrets(
        join_code=code if needs_code else None,
        host_token=secrets.token_urlsafe(16),
        round_token=secrets.token_hex(4),
    )


def new_cookie() -> str:
    """256 bits that name a listener."""
    return secrets.token_urlsafe(32)


def new_seed() -> int:
    """Seed of a listener's order."""
    return secrets.randbits(32)


def code_as_drawn(typed: str) -> str:
    """A typed code in the letters in which it was drawn.

    Examples
    --------
    >>> code_as_drawn(" k7mp-3xqd ")
    'K7MP3XQD'
    """
    return "".join(c for c in typed.upper() if c.isalnum())


def code_to_read(code: str) -> str:
    """A code in two groups, which are easier to read out.

    Examples
    --------
    >>> code_to_read("K7MP3XQD")
    'K7MP-3XQD'
    """
    half = len(code) // 2
    return f"{code[:half]}-{code[half:]}"
