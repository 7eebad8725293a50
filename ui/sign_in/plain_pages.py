"""The few plain pages in front of the sign-in: HTML without scripts, in the page's own greys."""

from __future__ import annotations

import html
from pathlib import Path

from starlette.responses import FileResponse, HTMLResponse, Response

from ui.serving.headers import SIGN_IN_POLICY
from ui.serving.known import away
from ui.state.addresses import below_the_base

_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title><link rel="stylesheet" href="{css}"><link rel="manifest" href="{manifest}">
<link rel="icon" href="{icon}"><meta name="theme-color" content="#e6e6e6"></head>
<body><main>{studio}<h1>{title}</h1>{said}{body}</main></body></html>"""


def page(title: str, body: str, studio: str = "", said: str = "", status: int = 200) -> Response:
    """Return a plain page. body: HTML that is safe; studio, said: plain text, of the studio and of what went wrong."""
    filled = _PAGE.format(
        title=html.escape(title),
        css=below_the_base("sign-in.css"),
        manifest=below_the_base("manifest.webmanifest"),
        icon=below_the_base("icons/192.png"),
        studio=f'<p class="studio">{html.escape(studio)}</p>' if studio else "",
        said=f'<p class="said" role="alert">{html.escape(said)}</p>' if said else "",
        body=body,
    )
    headers = {"Cache-Control": "no-store", "Content-Security-Policy": SIGN_IN_POLICY}
    return HTMLResponse(filled, status, headers)


async def cannot(_: object, error: Exception) -> Response:
    """Answer with a sentence where a page of these, or a route, cannot do what it is for: the studio's log is away."""
    return page("Not just now", "", said=away(error), status=503)


def form(action: str, button: str, fields: str, hidden: dict[str, str] | None = None) -> str:
    """Return a form that is sent to an address of ours."""
    kept = "".join(
        f'<input type="hidden" name="{html.escape(name)}" value="{html.escape(value)}">'
        for name, value in (hidden or {}).items()
    )
    return (
        f'<form method="post" action="{html.escape(below_the_base(action))}">{kept}{fields}'
        f'<button type="submit">{html.escape(button)}</button></form>'
    )


def field(label: str, name: str, kind: str = "text", value: str = "", fills: str = "off", hint: str = "") -> str:
    """Return a labelled field. fills: what a browser may fill in (HTML's autocomplete)."""
    below = f"<small>{html.escape(hint)}</small>" if hint else ""
    return (
        f'<label>{html.escape(label)}{below}<input name="{html.escape(name)}" type="{kind}" required '
        f'value="{html.escape(value)}" autocomplete="{fills}" autocapitalize="none" spellcheck="false"></label>'
    )


def link(address: str, text: str) -> str:
    return f'<p><a href="{html.escape(below_the_base(address))}">{html.escape(text)}</a></p>'


def style(_: object) -> Response:
    """Answer with the style of these pages."""
    return FileResponse(Path(__file__).with_name("sign_in.css"), media_type="text/css")
