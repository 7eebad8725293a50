"""Keeps what stands in a field that was not left yet, so that a reload, a crash or a flat battery costs nothing.

Number fields send their value only when left, and would be reformatted under the person's fingers if they were made
to send it earlier. So their text is overheard after each pause in them, and put into the draft only. Text areas are
made to send theirs.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

import streamlit as st

from ui.heard import heard
from ui.state.drafts import overhear

if TYPE_CHECKING:
    from matcher.studio import Studio

KEY = "save_as_typed"

_JS = """
const PAUSE_MS = 500;
let listening;
let tell;

export default function ({ setTriggerValue }) {
  tell = setTriggerValue;
  if (listening) return;
  listening = true;
  let timer;
  document.addEventListener("input", ({ target }) => {
    clearTimeout(timer);
    if (target instanceof HTMLTextAreaElement) timer = setTimeout(() => send(target), PAUSE_MS);
    else if (target.type === "number") timer = setTimeout(() => report(target), PAUSE_MS);
  }, true);
  // A field that is left sends its own value. To tell of it after that would break off the run of what is pressed next.
  document.addEventListener("focusout", () => clearTimeout(timer), true);
  // Put aside or reloaded before the pause was over: hand over at once.
  const leave = () => {
    const field = document.activeElement;
    if (field instanceof HTMLTextAreaElement || field instanceof HTMLInputElement) send(field);
  };
  window.addEventListener("beforeunload", leave);
  document.addEventListener("visibilitychange", () => document.hidden && leave());
}

function send(field) {
  const ctrlKey = field instanceof HTMLTextAreaElement;
  const enter = { key: "Enter", code: "Enter", keyCode: 13, ctrlKey, bubbles: true };
  field.dispatchEvent(new KeyboardEvent("keydown", enter));
}

function report(field) {
  const named = field.closest('[class*="st-key-"]');
  const name = [...(named?.classList ?? [])].find((part) => part.startsWith("st-key-"));
  if (name) tell("typing", { field: name, text: field.value });
}
"""


def save_as_typed(studio: Studio) -> None:
    """Put the listener into the page, once a run; it shows nothing."""

    def typed() -> None:
        typing = heard(KEY, "typing")
        if typing:
            overhear(studio, str(typing["field"]), str(typing["text"]))

    with st.container(key="keeping"):
        _component()(key=KEY, on_typing_change=typed)


@cache
def _component() -> Any:
    return st.components.v2.component("patina_matcher.keeping", js=_JS)
