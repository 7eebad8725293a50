"""A code that signs a device in once, shown so that a phone can read it and a person can type it."""

from __future__ import annotations

import base64
import html
import os
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import streamlit as st

from matcher.access.qr import as_svg, qr_code
from matcher.dates import TO_THE_MINUTE, shown
from ui.escaped import escaped
from ui.serving.how_served import AUTHORITY, URL
from ui.show import look
from ui.state.addresses import below_the_base

if TYPE_CHECKING:
    from matcher.access.codes import Code


def show_code(code: Code, whose: str) -> None:
    """Show a code as a QR code that leads to its page, and as text. whose: whom it signs in."""
    address = f"{_origin()}{below_the_base(f'code/{code.text}')}"
    with look.panel("code"):
        st.html(
            f"<strong>Signs one device in as {escaped(whose)}</strong>"
            f'<img class="pm-qr" alt="QR code of {html.escape(address)}" src="{_picture(address)}">'
            f"<p>Point the phone's camera at it. Or open <b>{escaped(_origin())}</b> there, choose "
            f'"I have a code", and type <b class="pm-code">{escaped(code.text)}</b></p>'
            f'<p class="pm-soft">Good once, until {escaped(shown(code.ends_at, TO_THE_MINUTE))}.</p>'
        )
        if os.environ.get(AUTHORITY):
            st.html(
                '<p class="pm-soft">The phone may warn of the certificate: it is this machine\'s own. '
                f'<a href="{below_the_base("certificate.crt")}" download>Load the certificate</a> there and install '
                "it, and it warns no more.</p>"
            )


def _picture(address: str) -> str:
    return f"data:image/svg+xml;base64,{base64.b64encode(as_svg(qr_code(address)).encode()).decode()}"


def _origin() -> str:
    """Return the address at which others reach this page: as it was started, else as this browser has opened it."""
    here = urlsplit(str(st.context.url or ""))
    return os.environ.get(URL) or (f"{here.scheme}://{here.netloc}" if here.netloc else "")
