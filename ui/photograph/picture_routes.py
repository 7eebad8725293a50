"""The pictures that the page names, served beside it: small copies of the studio's photographs, and patches of what was
read in them.

What an address stands for never changes, so a browser that has it need not ask again. The address holds a hash that
cannot be guessed, and a page of another site that knows it all the same is not given the picture.
"""

from __future__ import annotations

import html
from collections.abc import Callable
from typing import TYPE_CHECKING

from starlette.responses import Response
from starlette.routing import Route

from matcher.errors import MatcherError, StudioError
from matcher.photo.small import MADE_THUS
from ui.state.addresses import PATCHES, PICTURES, below_the_base

if TYPE_CHECKING:
    from starlette.requests import Request

    from matcher.reading.reading import Reading
    from matcher.studio import Studio

A_YEAR_S = 365 * 24 * 3600
_OURS_ALONE = {"Cross-Origin-Resource-Policy": "same-origin", "X-Content-Type-Options": "nosniff"}
_NO_SUCH = "There is no picture at this address: go back to the page and reload it."


def picture_routes() -> list[Route]:
    """Return the routes for the server."""
    return [
        Route(below_the_base(f"{PICTURES}/{{sha256}}/{{side}}.jpg"), photograph),
        Route(below_the_base(f"{PATCHES}/{{of}}/{{number}}/{{key}}/{{side}}.jpg"), patch),
        *(Route(below_the_base(f"{top}/{{rest:path}}"), nothing_there) for top in (PICTURES, PATCHES)),
    ]


def photograph(request: Request) -> Response:
    """Answer with a small copy of a photograph."""
    # Only now: what the page keeps may be set up when its server runs, not before.
    from ui.photograph.photographs import small_copy
    from ui.state.open_studio import the_studio

    sha256, side = request.path_params["sha256"], _whole(request.path_params["side"])
    return _answer(request, f"{sha256}-{side}-{MADE_THUS}", lambda: small_copy(the_studio(), sha256, side))


def patch(request: Request) -> Response:
    """Answer with the patch of what was read of a plate, of a target, or at a stage of a plate."""
    from ui.state.open_studio import the_studio

    asked = request.path_params
    key, side = asked["key"], _whole(asked["side"])

    def read() -> Reading:
        return _reading(the_studio(), asked["of"], asked["number"])

    return _answer(request, f"{key}-{side}", lambda: the_studio().patch(key, side, read))


def nothing_there(request: Request) -> Response:
    """Answer what is no picture's address; without this the server would give the page itself."""
    return refusal(request, _NO_SUCH)


def _reading(studio: Studio, of: str, number: str) -> Reading:
    """Return the reading that an address names. Raises StudioError."""
    if of == "plate":
        return studio.trial(_whole(number)).reading
    if of == "target":
        return studio.target(_whole(number)).reading
    plate, _, place = number.partition("-")
    stages = studio.trial(_whole(plate)).stages if of == "stage" else ()
    if not 0 <= _whole(place) < len(stages):
        raise StudioError(_NO_SUCH)
    return stages[_whole(place)].reading


def _whole(text: str) -> int:
    """Return a whole number that an address holds, -1 for anything else."""
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 9 else -1


def _answer(request: Request, tag: str, make: Callable[[], bytes]) -> Response:
    try:
        return lasting(request, f'"{tag}"', make())
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
