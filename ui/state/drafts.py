"""Half-typed forms: every field is kept in the studio as soon as it changes, and comes back after a reload.

One form may be open on two screens: each writes only what it changed, and takes over what the other one changed.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import MatcherError

if TYPE_CHECKING:
    from matcher.studio import Studio


SHOWN_LATE: dict[str, Any] = {"persist_state": "page"}
"""For every widget whose value is put into the session before it is shown.

Streamlit tells the browser such a value on one run alone. A browser that has not loaded the widget's code by then, as a
phone far from the router, shows the widget's own default at the next run, and sends that as what was typed. A widget
that keeps its value is told of on every run until the browser has answered.
"""


class Draft:
    """One form's fields by name. ``field`` ties a widget to one of them.

    The values live in the session and in the studio; a new session starts from what the studio kept. ``base`` is what
    the studio held when this screen last looked: what differs from it was changed here or on another screen.
    """

    def __init__(self, studio: Studio, form: str) -> None:
        self._studio = studio
        self.form = form
        slot = f"draft.{form}"
        if slot not in st.session_state:
            kept = studio.draft(form) or {}
            st.session_state[slot] = {"values": kept, "base": _plain(kept), "round": 0, "newer": set()}
        self._held: dict[str, Any] = st.session_state[slot]
        self.meet()

    @property
    def values(self) -> dict[str, Any]:
        values: dict[str, Any] = self._held["values"]
        return values

    def get(self, name: str, default: Any = None) -> Any:
        return self.values.get(name, default)

    def meet(self) -> None:
        """Take over the fields that another screen changed and this one did not; their widgets follow."""
        try:
            now = self._studio.draft(self.form) or {}
        except MatcherError:
            return  # what stands here goes on; a write will say what is wrong
        base, newer = self._held["base"], self._held["newer"]
        if now == base:
            return
        if self._held.pop("started", False):  # only offered here, but begun there
            newer.update(self.values)
            self._held["values"] = {}
        for name in {*now, *base}:
            theirs, before = now.get(name, _NOTHING), base.get(name, _NOTHING)
            if theirs != before and _plain(self.values).get(name, _NOTHING) == before:
                newer.add(name)
                self._held["overtaken"] = True
                self.values.pop(name, None) if theirs is _NOTHING else self.values.update({name: theirs})
        self._held["base"] = now

    def set(self, **values: Any) -> None:
        """Keep some fields, at once. What a widget shows changes only through ``fill``."""
        self.meet()
        if any(self.values.get(name, _NOTHING) != value for name, value in values.items()):
            self.values.update(values)
            self.keep()

    def forget(self, names: Iterable[str]) -> None:
        """Empty some fields; widgets that show them take their defaults on the next run."""
        self.meet()
        self._held["values"] = {name: value for name, value in self.values.items() if name not in set(names)}
        for name in names:
            st.session_state.pop(self.key(name), None)
        self.keep()

    def fill(self, values: dict[str, Any]) -> None:
        """Replace all fields; widgets take the new values on the next run."""
        self._held["values"] = dict(values)
        self._held["round"] += 1
        self.keep()

    def start(self, values: dict[str, Any]) -> None:
        """Fill the form without keeping it: nothing of it is the person's own yet."""
        self._held["values"] = dict(values)
        self._held["round"] += 1
        self._held["started"] = True

    def say(self, message: str) -> None:
        """Leave a sentence for the next run, where ``said`` takes it."""
        self._held["said"] = message

    def said(self) -> str | None:
        message: str | None = self._held.pop("said", None)
        return message

    def drop(self) -> None:
        """Forget the form: it has become a target or a plate."""
        self._held.update(values={}, base={})
        self._held["round"] += 1
        self._studio.drop_draft(self.form)

    def overtaken(self) -> bool:
        """Tell, once, whether another screen changed a field since this one was last shown: what is saved now was not
        seen here.
        """
        return bool(self._held.pop("overtaken", False))

    def keep(self) -> None:
        """Write the fields to the studio; when that fails, say so and keep them in the session."""
        for name in self._held.get("along", ()):
            if name not in self.values and self.key(name) in st.session_state:
                self.values[name] = st.session_state[self.key(name)]
        try:
            self._studio.save_draft(self.form, self.values)
            self._held["base"] = _plain(self.values)
            for name in ("unkept", "started"):
                self._held.pop(name, None)
        except MatcherError as error:
            self._held["unkept"] = str(error)

    @property
    def unkept(self) -> str | None:
        """Why the last change could not be written, or None."""
        reason: str | None = self._held.get("unkept")
        return reason

    def key(self, name: str) -> str:
        """Return the key of the widget that shows a field; another one after ``fill`` and ``drop``."""
        return f"{self.form}.{self._held['round']}.{name}"

    def field(self, name: str, default: Any = None) -> dict[str, Any]:
        """Return what ties a widget to a field: ``st.text_input("Plate", **draft.field("piece", ""))``.

        The callback runs before the page does, so that what was typed is kept whatever fails afterwards. The browser is
        told what the field holds until it has shown it (``SHOWN_LATE``).
        """
        key = self.key(name)
        if key not in st.session_state or name in self._held["newer"]:
            st.session_state[key] = self.values.get(name, default)
        self._held["newer"].discard(name)
        self._held.setdefault("fields", {})[_css_class(key)] = name
        return {"key": key, "on_change": self._took, "args": (name, key), **SHOWN_LATE}

    def keep_along(self, name: str) -> None:
        """Keep what a field shows whenever anything else of the form is kept.

        For a field that is filled in by what holds at the time, as a day is: whoever begins a form before midnight is
        shown the same day, and sends it, on the next.
        """
        self._held.setdefault("along", set()).add(name)

    def shown(self, name: str, default: Any = None) -> Any:
        """Return what a field's widget shows, or will show in this run."""
        kept = self.values.get(name, default)
        return kept if name in self._held["newer"] else st.session_state.get(self.key(name), kept)

    def _took(self, name: str, key: str) -> None:
        self.meet()
        self._held["newer"].discard(name)
        self.values[name] = st.session_state.get(key)
        self.keep()


def overhear(studio: Studio, css_class: str, text: str) -> None:
    """Keep the number that is being typed into a field, named by the class that Streamlit gives its widget."""
    try:
        number = float(text)
    except ValueError:
        return
    for slot, held in list(st.session_state.items()):
        name = held.get("fields", {}).get(css_class) if str(slot).startswith("draft.") else None
        if name is not None:
            Draft(studio, str(slot).removeprefix("draft.")).set(**{name: number})


def _css_class(key: str) -> str:
    return "st-key-" + re.sub(r"[^a-zA-Z0-9_-]", "-", key)


def _plain(values: dict[str, Any]) -> dict[str, Any]:
    """Return values as the studio gives them back, apart from those that stand here."""
    try:
        plain: dict[str, Any] = json.loads(json.dumps(values))
    except (TypeError, ValueError):  # what cannot be kept was not
        return {}
    return plain


_NOTHING = object()
