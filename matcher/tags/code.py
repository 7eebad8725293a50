"""What a tag says: which studio it is of, and a number; as people read it, and as the printed symbol carries it.

People read ``K7QX2-88``: five letters and digits of the studio, then the tag's number. The symbol carries two more
digits, so that a misread which its own error correction lets pass is caught too.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass

from matcher.errors import TagError

SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Base 32 without I, L, O and U, which are misread or spell words (Crockford's choice; from memory)."""
STUDIO_SIGNS = 5
HIGHEST_NUMBER = 9_999_999
_MISTAKEN = str.maketrans({"O": "0", "I": "1", "L": "1", "‐": "-", "‑": "-", "–": "-", "—": "-", "−": "-"})
_STUDIO = f"[{SIGNS}]{{{STUDIO_SIGNS}}}"
_CARRIED = re.compile(rf"(?:TAG |HTTPS?://[0-9A-Z.:-]+/TAG/)({_STUDIO})-([1-9][0-9]{{0,6}})\.([0-9]{{2}})")
_TYPED = re.compile(rf"({_STUDIO})-?([0-9]{{1,9}})(?:\.([0-9]{{2}}))?")
_BEFORE = re.compile(r"^(?:HTTPS?://[^/]*/)?TAG[/:#]?", re.IGNORECASE)
_HOST = re.compile(r"[0-9A-Z](?:[0-9A-Z.-]*[0-9A-Z])?(?::[0-9]{1,5})?")


@dataclass(frozen=True, order=True)
class TagCode:
    """What a tag says. studio: five signs, the same on every tag of a studio. number: 1 to 9,999,999.

    >>> str(TagCode("K7QX2", 88)), TagCode("K7QX2", 88).check
    ('K7QX2-88', '54')
    """

    studio: str
    number: int

    def __post_init__(self) -> None:
        if not re.fullmatch(_STUDIO, self.studio):
            raise TagError(f"Give a tag's studio as {STUDIO_SIGNS} of {SIGNS}: {self.studio!r} is not that.")
        if not 1 <= self.number <= HIGHEST_NUMBER:
            raise TagError(f"Give a tag's number from 1 to {HIGHEST_NUMBER:,}: {self.number} is not that.")

    def __str__(self) -> str:
        return f"{self.studio}-{self.number}"

    @property
    def check(self) -> str:
        """Two digits over studio and number: MOD 97-10 of ISO/IEC 7064, letters as 10 to 35."""
        whole = "".join(str(int(sign, 36)) for sign in f"{self.studio}{self.number}")
        return f"{98 - int(whole) * 100 % 97:02}"


def studio_signs(uid: str) -> str:
    """Return the five signs of a studio, from its uid.

    25 bits of a SHA-256: that two given studios share theirs has a chance of 1 in 33 million.
    """
    bits = int.from_bytes(hashlib.sha256(f"tags of {uid}".encode()).digest()[:4], "big") >> 2
    return "".join(SIGNS[bits >> 5 * place & 31] for place in reversed(range(STUDIO_SIGNS)))


def carried(code: TagCode, address: str = "") -> str:
    """Return what the printed symbol of a tag carries.

    Parameters
    ----------
    code : TagCode
        What the tag says.
    address : str
        Where the studio's page is served on the local network, "192.168.1.20:8501": by HTTPS unless it begins with
        "http://". "" when it is not, and a phone then shows the number alone.

    Returns
    -------
    str
        In signs of QR Code's alphanumeric set, which keep the symbol small (ISO/IEC 18004).

    Raises
    ------
    TagError
        The address can't be carried.

    Examples
    --------
    >>> carried(TagCode("K7QX2", 88))
    'TAG K7QX2-88.54'
    >>> carried(TagCode("K7QX2", 88), "studio.local:8501/")
    'HTTPS://STUDIO.LOCAL:8501/TAG/K7QX2-88.54'
    """
    top = checked_address(address)
    return f"{top}/TAG/{code}.{code.check}" if top else f"TAG {code}.{code.check}"


def checked_address(address: str) -> str:
    """Return an address as the symbol carries it, "HTTPS://…", "" for none. Raises TagError."""
    plain = address.strip().upper()
    scheme = "HTTP" if plain.startswith("HTTP://") else "HTTPS"
    host = re.sub(r"^HTTPS?://", "", plain).rstrip("/")
    if not host:
        return ""
    if not _HOST.fullmatch(host) or len(host) > MOST_OF_ADDRESS:
        raise TagError(
            f"Give the address as host:port, 192.168.1.20:8501, of at most {MOST_OF_ADDRESS} letters, digits, dots and "
            f"dashes: {address.strip()!r} is not that."
        )
    return f"{scheme}://{host}"


MOST_OF_ADDRESS = 40
"""Signs of an address: with more, the symbol's modules would be too fine to be found."""


def code_carried(text: str) -> TagCode | None:
    """Return the code of a tag that a symbol's whole text is, None for any other text and for a failing check."""
    found = _CARRIED.fullmatch(text)
    if found is None:
        return None
    code = TagCode(found[1], int(found[2]))
    return code if code.check == found[3] else None


def typed_tag(text: str, studio: str | None = None) -> TagCode:
    """Read a tag as a person types it, or as a phone shows it.

    Parameters
    ----------
    text : str
        "K7QX2-88", in any case, with spaces or without the dash; O stands for 0, I and L for 1. What a phone shows
        ("TAG K7QX2-88.54", the page's address) will do too.
    studio : str, optional
        The studio's five signs (``studio_signs``); then the number alone will do.

    Raises
    ------
    TagError
        It is not a tag, or its check digits fail.

    Examples
    --------
    >>> str(typed_tag(" k7qx2 - 88")), str(typed_tag("KO71L-5")), str(typed_tag("88", "K7QX2"))
    ('K7QX2-88', 'K0711-5', 'K7QX2-88')
    """
    plain = _BEFORE.sub("", "".join(text.split())).upper().translate(_MISTAKEN)
    if studio is not None and re.fullmatch(r"0*[1-9][0-9]{0,6}", plain):
        return TagCode(studio, int(plain))
    found = _TYPED.fullmatch(plain)
    if found is None or ("-" not in plain and plain.isdigit()) or not 1 <= int(found[2]) <= HIGHEST_NUMBER:
        raise TagError(f"Type the tag as it is printed, K7QX2-88: {text.strip()!r} is not one.")
    code = TagCode(found[1], int(found[2]))
    if found[3] is not None and found[3] != code.check:
        raise TagError(f"Look at the tag again: the last two digits of {text.strip()!r} do not go with the others.")
    return code
