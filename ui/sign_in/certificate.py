"""The certificate of this machine's own authority, for phones to install; there is nothing secret in it."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from ui.serving.how_served import AUTHORITY, has_own_certificate
from ui.state.addresses import below_the_base

if TYPE_CHECKING:
    from starlette.requests import Request


def certificate_routes() -> list[Route]:
    """Return the routes for the server."""
    return [Route(below_the_base("certificate.crt"), authority)]


def authority(_: Request) -> Response:
    """Answer with the authority's certificate, as phones take it (RFC 5280; application/x-x509-ca-cert)."""
    where = os.environ.get(AUTHORITY)
    if not where or has_own_certificate():
        return PlainTextResponse("This page is served without a certificate that would need installing.", 404)
    try:
        pem = Path(where).read_bytes()
    except OSError:
        return PlainTextResponse("The certificate cannot be read: start the page anew.", 500)
    headers = {"Content-Disposition": "attachment; filename=studio-certificate.crt", "Cache-Control": "no-store"}
    return Response(pem, media_type="application/x-x509-ca-cert", headers=headers)
