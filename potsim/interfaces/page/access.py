"""Who may speak to the page: sessions signed by this server, and the one-time code of a home network."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Callable

# Letters and digits that no one mistakes for another on a phone.
ALPHABET = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
CODE_LENGTH = 8
WRONG_BEFORE_NEW = 10  # wrong codes after which another is printed


class Sessions:
    """Sessions that the server need not remember: a random name, signed."""

    def __init__(self, secret: bytes | None = None) -> None:
        self._secret = secret or secrets.token_bytes(32)

    def new(self) -> str:
        """Return the cookie of a new session."""
        name = secrets.token_urlsafe(18)
        return f"{name}.{self._sign('session', name)}"

    def name(self, cookie: str | None) -> str | None:
        """Return the name of a session from its cookie."""
        name, _, signature = (cookie or "").partition(".")
        return name if name and _same(signature, self._sign("session", name)) else None

    def token(self, name: str) -> str:
        """Return what a page of this session must show with whatever it sends."""
        return self._sign("token", name)

    def shows(self, name: str, token: str | None) -> bool:
        """Whether a token is that of a session."""
        return _same(token or "", self.token(name))

    def _sign(self, what: str, name: str) -> str:
        return hmac.new(self._secret, f"{what}:{name}".encode(), hashlib.sha256).hexdigest()


def _same(one: str, other: str) -> bool:
    return hmac.compare_digest(one.encode("utf-8", "replace"), other.encode())


class OneTimeCode:
    """A code printed at the still that lets one browser in; the next browser needs the next code."""

    def __init__(self, announce: Callable[[str], None]) -> None:
        self._announce = announce
        self._wrong = 0
        self._code = ""
        self._renew()

    def redeem(self, given: str) -> bool:
        """Use up the code."""
        typed = "".join(letter for letter in given.upper() if letter.isalnum())
        right = _same(typed, self._code)
        self._wrong += not right
        if right or self._wrong >= WRONG_BEFORE_NEW:
            self._renew()
        return right

    def _renew(self) -> None:
        self._wrong = 0
        self._code = "".join(secrets.choice(ALPHABET) for _ in range(CODE_LENGTH))
        self._announce(f"{self._code[:4]}-{self._code[4:]}")
