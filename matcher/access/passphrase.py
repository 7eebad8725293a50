"""Passphrases: which are good enough, and how they are kept (Argon2id) and compared.

Sources: NIST SP 800-63B-4 (2025), 3.1.1.2: length alone counts, no rules of composition, what is commonly used is
refused, Unicode normalised; OWASP Password Storage Cheat Sheet: Argon2id with 19 MiB and two passes at least.
"""

from __future__ import annotations

import threading
import unicodedata

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from matcher.errors import StudioError

SHORTEST, LONGEST = 12, 256
FEWEST_SIGNS = 5
"""How many different signs a passphrase has at least: "aaaaaaaaaaaa" has one."""
_COMMON = ("password", "passphrase", "passwort", "qwertyuiop", "1234567890", "letmein", "iloveyou", "administrator")

_HASHER = PasswordHasher()  # RFC 9106's second recommended set: 64 MiB, three passes, four lanes
_AT_ONCE = threading.Semaphore(2)  # each takes 64 MiB for as long as it lasts
_NOBODYS = _HASHER.hash("what nobody has")


def hashed(passphrase: str, name: str = "") -> str:
    """Return what is kept of a passphrase. name: whose it is, which it may not be made of. Raises StudioError."""
    text = _normal(passphrase)
    if len(text) < SHORTEST:
        raise StudioError(f"Choose a longer passphrase: {SHORTEST} signs at least, four words in a row for instance.")
    if len(text) > LONGEST:
        raise StudioError(f"Choose a shorter passphrase: {LONGEST} signs at most.")
    bare = "".join(text.casefold().split())
    made_of = [word for word in (*_COMMON, "".join(name.casefold().split())) if word and word in bare]
    if len(set(bare)) < FEWEST_SIGNS or any(len(bare) - len(word) < 6 for word in made_of):
        raise StudioError("Choose another passphrase: this one is among the first that anybody would try.")
    with _AT_ONCE:
        return _HASHER.hash(text)


def matches(kept: str, passphrase: str) -> bool:
    """Tell whether a passphrase is the one that was kept; with "" for nobody's it takes as long, and is not."""
    text = _normal(passphrase[: 4 * LONGEST])
    try:
        with _AT_ONCE:
            return _HASHER.verify(kept or _NOBODYS, text) and bool(kept)
    except (VerificationError, InvalidHashError):
        return False


def is_dated(kept: str) -> bool:
    """Tell whether what is kept was made with other parameters than are used today."""
    return _HASHER.check_needs_rehash(kept)


def rehashed(passphrase: str) -> str:
    """Return what is kept today of a passphrase that is known to be right."""
    with _AT_ONCE:
        return _HASHER.hash(_normal(passphrase))


def _normal(passphrase: str) -> str:
    return unicodedata.normalize("NFKC", passphrase.encode("utf-8", "replace").decode("utf-8"))
