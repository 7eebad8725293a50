"""How the page is served: to this machine alone, or to a network, where everybody signs in."""

from __future__ import annotations

import os

import streamlit as st

from matcher.access.network import is_this_machine_alone

SIGN_IN = "MATCHER_SIGN_IN"
"""The environment's word that everybody signs in, on this machine's own address too: "on"."""
OWN_CERTIFICATE = "MATCHER_OWN_CERTIFICATE"
"""The environment's word that a certificate of the foundry's own is shown, which browsers know: "on"."""
AUTHORITY = "MATCHER_AUTHORITY"
"""The environment's word where the certificate authority lies that phones may install."""
URL = "MATCHER_URL"
"""The environment's word at which address other machines reach the page."""


def sign_in_needed() -> bool:
    """Tell whether everybody signs in: always, unless the page is served to this machine alone."""
    address = st.get_option("server.address")
    return os.environ.get(SIGN_IN) == "on" or (address is not None and not is_this_machine_alone(str(address)))


def has_own_certificate() -> bool:
    return os.environ.get(OWN_CERTIFICATE) == "on"
