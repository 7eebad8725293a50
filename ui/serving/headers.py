"""The headers that every answer carries: what a browser may do with it, and what it may not.

OWASP HTTP Headers Cheat Sheet and Secure Headers Project. Streamlit's pages need styles and scripts of their own text
(and compile parts of its plots), so these are allowed there; what the sign-in pages need is almost nothing.
"""

from __future__ import annotations

from ui.serving.how_served import has_own_certificate

_SHARED = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), microphone=(), geolocation=(), payment=(), usb=()",
}
PAGE_POLICY = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval' 'wasm-unsafe-eval' blob:; "
    "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
    "connect-src 'self' data: blob:; media-src 'self' blob:; worker-src 'self' blob:; object-src 'none'; "
    "frame-src 'self' blob: data:; base-uri 'self'; form-action 'self'; frame-ancestors 'none'"
)
SIGN_IN_POLICY = (
    "default-src 'none'; style-src 'self'; img-src 'self'; manifest-src 'self'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)
_HSTS = "max-age=31536000"  # for a certificate that browsers know; with ours they would lock out whom it changes for


def security_headers(https: bool) -> list[tuple[bytes, bytes]]:
    """Return the headers for every answer that does not say otherwise itself."""
    values = _SHARED | {"Content-Security-Policy": PAGE_POLICY}
    if https and has_own_certificate():
        values["Strict-Transport-Security"] = _HSTS
    return [(name.lower().encode(), value.encode()) for name, value in values.items()]
