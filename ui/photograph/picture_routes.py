"""The pictures that the page names, served beside it: small copies of the studio's photographs.

What an address stands for never changes, so a browser that has it need not ask again. The address holds a hash that
cannot be guessed, and a page of another site that knows it all the same is not given the picture.
"""

from __future__ import annotations

import html
from typing import TYPE_CHECKING

from starlette.responses import Response
from starlette.routing import Route

from matcher.errors import MatcherError
from matcher.photo.small import MADE_THUS
from ui.state.addresses import PICTURES, below_the_base

if TYPE_CHECKING:
    from starlette.requests import Request

A_YEAR_S = 365 * 24 * 3600
_OURS_ALONE = {"Cross-Origin-Resource-Policy": "same-origin", "X-Content-Type-Options": "nosniff"}
_NO_SUCH = "There is no picture at this address: go back to the page and reload it."


def picture_routes() -> list[Route]:
    """Return the routes for the server."""
    return [
        Route(below_the_base(f"{PICTURES}/{{sha256}}/{{side}}.jpg"), photograph),
        Route(below_the_base(f"{PICTURES}/{{rest:path}}"), lambda request: refusal(request, _NO_SUCH)),
    ]


def photograph(request: Request) -> Response:
    """Answer with a small copy of a photograph."""
    # Only now: what the page keeps may be set up when its server runs, not before.
    from ui.photograph.photographs import small_copy
    from ui.state.open_studio import the_studio

    sha256, side = request.path_params["sha256"], request.path_params["side"]
    if not (side.isascii() and side.isdigit() and len(side) <= 4):
        return refusal(request, _NO_SUCH)
    tag = f'"{sha256}-{side}-{MADE_THUS}"'
    try:
        return lasting(request, tag, small_copy(the_studio(), sha256, int(side)))
    except MatcherError as error:
        return refusal(request, str(error))


def lasting(request: Request, tag: str, jpeg: bytes) -> Response:
    """Return a picture that a browser may keep, or the word that the one it has is still right (RFC 9110, 13.1.2)."""
    headers = {"ETag": tag, "Cache-Control": f"private, max-age={A_YEAR_S}, immutable", **_OURS_ALONE}
    known = [part.strip().removeprefix("W/") for part in request.headers.get("if-none-match", "").split(",")]
    if tag in known or "*" in known:
        return Response(status_code=304, headers=headers)
    return Response(jpeg, media_type="image/jpeg", headers=headers)


def refusal(request: Request, sentence: str) -> Response:
    """Say why there is no picture: as words, and in a picture's place as a picture of them."""
    headers = {"Cache-Control": "no-store", **_OURS_ALONE}
    if request.headers.get("accept", "").startswith("image/"):
        return Response(_as_picture(sentence), 404, headers, "image/svg+xml")
    return Response(sentence, 404, headers, "text/plain")


def _as_picture(sentence: str) -> str:
    """Return a sentence on the grey that photographs stand on, as SVG."""
    lines = [""]
    for word in sentence.split():
        if len(lines[-1]) + len(word) > 34:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    top = 180 - 12 * (len(lines) - 1)
    said = "".join(f'<tspan x="240" y="{top + 24 * k}">{html.escape(line)}</tspan>' for k, line in enumerate(lines))
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 480 360" width="480" height="360">'
        '<rect width="480" height="360" fill="#777"/>'
        f'<text fill="#fff" font-family="sans-serif" font-size="20" text-anchor="middle">{said}</text></svg>'
    )
