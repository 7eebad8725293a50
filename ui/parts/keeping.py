"""Hands over what stands in a field that was never left, when the page is reloaded, closed or put aside.

Number fields send their value only when left; sending it while the person types would reformat it under their
fingers, so it is sent when the page goes out of sight. A text area is sent after each pause.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import streamlit as st

_JS = """
const PAUSE_MS = 700;
let stop;

function press(field, withCtrl) {
  const how = { key: "Enter", code: "Enter", keyCode: 13, ctrlKey: withCtrl, bubbles: true };
  field.dispatchEvent(new KeyboardEvent("keydown", how));
}

export default function () {
  stop?.abort();
  stop = new AbortController();
  const options = { signal: stop.signal, capture: true };
  let timer;
  document.addEventListener("input", (event) => {
    if (!(event.target instanceof HTMLTextAreaElement)) return;
    clearTimeout(timer);
    timer = setTimeout(() => press(event.target, true), PAUSE_MS);
  }, options);
  const handOver = () => {
    const field = document.activeElement;
    if (field instanceof HTMLTextAreaElement) press(field, true);
    else if (field instanceof HTMLInputElement) press(field, false);
  };
  window.addEventListener("pagehide", handOver, options);
  window.addEventListener("beforeunload", handOver, options);
  document.addEventListener("visibilitychange", () => document.hidden && handOver(), options);
  return undefined;
}
"""


def keep_what_is_typed() -> None:
    """Put the hand-over into the page, once a run; it shows nothing."""
    with st.container(key="keeping"):
        _component()(key="keep_what_is_typed")


@cache
def _component() -> Any:
    return st.components.v2.component("patina_matcher.keeping", js=_JS)
