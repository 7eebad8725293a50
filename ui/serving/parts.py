"""The page's own HTML, which is Streamlit's, with two lines of ours in its head.

A script brings back the parts that did not come because the connection was lost when they were first needed
(``parts.js``), and a manifest lets a phone keep the page on its home screen.
"""

from __future__ import annotations

import json
from functools import cache
from html import escape
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route
from streamlit.file_util import get_static_dir

from ui.state.addresses import below_the_base
from ui.state.places import ALL, START

AHEAD = (
    "BidiComponent",
    "Html",
    "Button",
    "ButtonGroup",
    "Checkbox",
    "NumberInput",
    "TextInput",
    "TextArea",
    "Selectbox",
    "Radio",
    "Multiselect",
    "Slider",
    "FileUploader",
    "CameraInput",
    "DownloadButton",
    "PageLink",
    "Spinner",
    "Toast",
    "PlotlyChart",
)
"""The parts that our pages are made of, as Streamlit names the files that they come in."""
_ENTRY = "index.html"


def page_routes() -> list[Route]:
    """Return the routes for the server: every page that has an address, and the script."""
    addresses = ["", *(place.address for place in ALL if place is not START)]
    return [
        *(Route(below_the_base(address), the_page) for address in addresses),
        Route(below_the_base("parts.js"), script),
    ]


def the_page(_: Request) -> Response:
    return HTMLResponse(_html(below_the_base("")), headers={"Cache-Control": "no-cache"})


def script(_: Request) -> Response:
    text = Path(__file__).with_name("parts.js").read_text(encoding="utf-8")
    return Response(text, media_type="text/javascript", headers={"Cache-Control": "no-cache"})


@cache
def _html(base: str) -> str:
    html = (Path(get_static_dir()) / _ENTRY).read_text(encoding="utf-8")
    ahead = escape(json.dumps([base + file for file in ahead_of_need()]))
    ours = (
        f'<script src="{base}parts.js" data-reach="{base}changes?once" data-ahead="{ahead}"></script>'
        f'<link rel="manifest" href="{base}manifest.webmanifest">'
    )
    return html.replace("<head>", f"<head>{ours}", 1)


def ahead_of_need() -> list[str]:
    """Return the files of the parts in AHEAD, with all that each imports, and without what every page begins with.

    By the list that Streamlit's own build writes beside them; without one nothing is loaded ahead of need.
    """
    try:
        built = json.loads((Path(get_static_dir()) / "manifest.json").read_text(encoding="utf-8"))
        named = {Path(key).stem: key for key in built[_ENTRY]["dynamicImports"]}
    except (OSError, ValueError, KeyError):
        return []
    at_once = _with_imports(built, _ENTRY)
    found = [key for name in AHEAD if name in named for key in _with_imports(built, named[name])]
    return list(dict.fromkeys(str(built[key]["file"]) for key in found if key not in at_once))


def _with_imports(built: dict[str, Any], key: str) -> list[str]:
    found, ahead = [], [key]
    while ahead:
        one = ahead.pop()
        if one not in found:
            found.append(one)
            ahead.extend(built[one].get("imports", ()))
    return found
