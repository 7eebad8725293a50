"""Where the server gives pictures: what the page writes into its HTML, and what the routes answer."""

from __future__ import annotations

import streamlit as st

from matcher.photo.small import MADE_THUS

PICTURES = "pictures"


def photograph_address(sha256: str, side: int) -> str:
    """Return where the server gives a photograph, ``side`` pixels at most."""
    return below_the_base(f"{PICTURES}/{sha256}/{side}.jpg") + f"?{MADE_THUS}"


def below_the_base(path: str) -> str:
    """Return an address on this server, below the path that the page itself is served at."""
    base = str(st.get_option("server.baseUrlPath") or "").strip("/")
    return f"/{base}/{path}" if base else f"/{path}"
