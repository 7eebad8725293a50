"""What lets a phone keep the page on its home screen: a manifest (W3C Web Application Manifest) and an icon of our own.

The icon is drawn here: a plate whose finish runs from brown over green to straw, on neutral grey.
"""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from ui.state.addresses import below_the_base

SIDES = (192, 512)
_GREY, _EDGE = (0x77, 0x77, 0x77), (0x3A, 0x3A, 0x3A)
_FINISH = ((0x4A, 0x2E, 0x1C), (0x6B, 0x4A, 0x25), (0x5E, 0x8C, 0x76), (0xC8, 0xA9, 0x5B))
"""sRGB of the plate's finish, from its foot to its head; invented."""


def home_screen_routes() -> list[Route]:
    """Return the routes for the server."""
    return [
        Route(below_the_base("manifest.webmanifest"), manifest),
        Route(below_the_base("icons/{side}.png"), icon),
    ]


def manifest(_: Request) -> Response:
    from ui.state.open_studio import the_studio

    title = the_studio().title
    body = {
        "name": f"Patina matcher: {title}" if title else "Patina matcher",
        "short_name": "Patina",
        "id": below_the_base(""),
        "start_url": below_the_base(""),
        "scope": below_the_base(""),
        "display": "standalone",
        "background_color": "#e6e6e6",
        "theme_color": "#e6e6e6",
        "icons": [
            {
                "src": below_the_base(f"icons/{side}.png"),
                "sizes": f"{side}x{side}",
                "type": "image/png",
                "purpose": purpose,
            }
            for side in SIDES
            for purpose in ("any", "maskable")
        ],
    }
    return JSONResponse(body, media_type="application/manifest+json")


def icon(request: Request) -> Response:
    side = request.path_params["side"]
    if side not in {str(one) for one in SIDES}:
        return Response(status_code=404)
    return Response(drawn(int(side)), media_type="image/png", headers={"Cache-Control": "public, max-age=86400"})


@cache
def drawn(side: int) -> bytes:
    """Return the icon as PNG; its plate lies within the middle four fifths, which a phone may cut a circle from."""
    across = 3 * side  # drawn larger, then averaged: smooth edges
    picture = np.full((across, across, 3), _GREY, np.float32)
    low, high = round(0.27 * across), round(0.73 * across)
    steps = np.linspace(0, len(_FINISH) - 1, high - low)
    colours = np.stack([np.interp(steps, range(len(_FINISH)), [c[k] for c in _FINISH]) for k in range(3)], axis=-1)
    picture[low:high, low:high] = colours[::-1][:, None, :]
    cv2.rectangle(picture, (low, low), (high, high), _EDGE, max(1, across // 60))
    small = cv2.resize(picture, (side, side), interpolation=cv2.INTER_AREA)
    written, png = cv2.imencode(".png", np.round(small[..., ::-1]).astype(np.uint8))
    assert written
    return bytes(png)
