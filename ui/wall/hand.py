"""What a hand does on the wall: a plate is opened, or picked, without leaving the page; its end calls for more.

Without this every plate is still a link to its own page, and a button shows more.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import streamlit as st

from ui.heard import heard

KEY = "wall_hand"

_JS = """
let tell;
let listening;
let watching;

export default function ({ data, setTriggerValue, parentElement }) {
  tell = setTriggerValue;
  watching?.disconnect();
  if (data.left > 0) {
    watching = new IntersectionObserver((seen) => {
      if (!seen.some((one) => one.isIntersecting)) return;
      watching.disconnect();
      tell("more", data.shown);
    }, { rootMargin: "1600px" });
    watching.observe(parentElement instanceof ShadowRoot ? parentElement.host : parentElement);
  }
  if (listening) return;
  listening = true;
  document.addEventListener("click", (event) => {
    const plate = event.target.closest?.(".pm-wall:not(.strip) > a");
    if (!plate || event.ctrlKey || event.metaKey || event.shiftKey || event.button) return;
    event.preventDefault();
    const number = Number(new URL(plate.href).searchParams.get("plate"));
    tell(plate.parentElement.classList.contains("picking") ? "picked" : "opened", number);
  }, true);
}
"""


def on_the_wall(shown: int, left: int, opened: Callable[[int], None], picked: Callable[[int], None]) -> bool:
    """Put the listener below the wall, once a run; return whether its end was reached. left: plates not shown yet."""
    reached = st.session_state.get(f"{KEY}.reached") == shown

    def came(name: str, then: Callable[[int], None]) -> Callable[[], None]:
        def hear() -> None:
            number = heard(KEY, name)
            if number is not None:
                then(int(number))

        return hear

    def more(number: int) -> None:
        st.session_state[f"{KEY}.reached"] = number

    with st.container(key="wall-end"):
        _component()(
            key=KEY,
            data={"shown": shown, "left": left},
            on_opened_change=came("opened", opened),
            on_picked_change=came("picked", picked),
            on_more_change=came("more", more),
        )
    return reached


@cache
def _component() -> Any:
    return st.components.v2.component("patina_matcher.wall", js=_JS)
