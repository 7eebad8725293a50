"""Where a phone that reads a tag is led: the page of the plate that carries it, else the log, which says why not."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlencode

from starlette.responses import RedirectResponse
from starlette.routing import Route

from matcher.errors import MatcherError
from ui.state.addresses import below_the_base
from ui.state.places import LOG

if TYPE_CHECKING:
    from starlette.requests import Request

LONGEST = 80
ON_NO_PLATE = "tag"
"""What the log's address names a tag by that is on no plate."""


def tag_routes() -> list[Route]:
    """Return the routes for the server: what the symbols carry, and the same in small letters."""
    return [Route(below_the_base(f"{top}/{{code}}"), to_the_plate) for top in ("TAG", "tag")]


def to_the_plate(request: Request) -> RedirectResponse:
    """Lead from a tag's own address to its plate's page."""
    # Only now: what the page keeps may be set up when its server runs, not before.
    from matcher.tags.code import typed_tag
    from ui.state.open_studio import the_studio

    text = str(request.path_params["code"])[:LONGEST]
    query = {ON_NO_PLATE: text}
    try:
        tag = str(typed_tag(text))
        plate = the_studio().plate_of(tag)
        query = {ON_NO_PLATE: tag} if plate is None else {"plate": str(plate)}
    except MatcherError:
        pass  # the log says that it is none
    return RedirectResponse(f"{below_the_base(LOG.address)}?{urlencode(query)}")
