"""Where the server gives pictures: what the page writes into its HTML, and what the routes answer."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import streamlit as st

from matcher.photo.small import MADE_THUS, patch_key

if TYPE_CHECKING:
    from matcher.reading.reading import Reading

PICTURES, PATCHES = "pictures", "patches"


def photograph_address(sha256: str, side: int) -> str:
    """Return where the server gives a photograph, ``side`` pixels at most."""
    return below_the_base(f"{PICTURES}/{sha256}/{side}.jpg") + f"?{MADE_THUS}"


def patch_address(of: Literal["plate", "target", "stage"], number: str, reading: Reading, side: int) -> str:
    """Return where the server gives the patch of a reading.

    number: of the plate or target; of a stage, the plate's and the stage's place after it: "12-0". The address holds
    what was read, so that a finish that is read again has another one.
    """
    return below_the_base(f"{PATCHES}/{of}/{number}/{patch_key(reading)}/{side}.jpg")


def below_the_base(path: str) -> str:
    """Return an address on this server, below the path that the page itself is served at."""
    base = str(st.get_option("server.baseUrlPath") or "").strip("/")
    return f"/{base}/{path}" if base else f"/{path}"
