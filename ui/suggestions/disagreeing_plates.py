"""Plates that disagree with everything near them, with the slip that would explain each put right in a tap."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

import streamlit as st

from matcher.errors import MatcherError
from matcher.words import agreeing, counted
from ui.escaped import escaped
from ui.show.literal import literal
from ui.show.strips import low_pair
from ui.state.messages import tell
from ui.state.open_studio import the_studio
from ui.state.places import LOG
from ui.state.who import who
from ui.suggestions.answers import Answers

if TYPE_CHECKING:
    from matcher.recipe.recipe import Recipe
    from matcher.suggest.outliers import Contradiction
    from matcher.suggest.slips import Slip
    from matcher.trials.facts import TypedFacts
    from matcher.trials.trial import Trial

SHOWN = 10
CAME_OF_IT = "at-odds-came-of-it"


def show_contradictions(answers: Answers) -> None:
    """Show them, or say that there are none."""
    tell_what_was_said()
    with st.spinner("Comparing each plate with those near it…"):
        found = answers.contradictions()
    if not found:
        st.html("<p>No plate disagrees with those near it.</p>")
        return
    odd, checked = ([one for one in found if (one.checked is not None) is done] for done in (False, True))
    if odd:
        number = f"{counted(len(odd), 'plate')} {agreeing(len(odd), 'disagrees', 'disagree')}"
        st.subheader(literal(f"{number} with those near {agreeing(len(odd), 'it', 'them')}"), anchor=False)
        for item in odd[:SHOWN]:
            _one(item)
    if checked:
        st.subheader("Checked, and right", anchor=False)
        for item in checked[:SHOWN]:
            _one(item)


def tell_what_was_said() -> None:
    """Say what came of the last tap: of a correction, or that a plate is right."""
    if came := st.session_state.pop(CAME_OF_IT, None):
        tell(*came)


def _one(item: Contradiction) -> None:
    plate = item.trial.id
    colours, words = st.columns([1, 2], gap="medium", vertical_alignment="center")
    with colours:
        st.html(low_pair(item.expected, item.trial.reading.lab, "Expected from the others", f"Plate {plate}"))
    with words:
        st.html(f"<p>{escaped(item.sentence)}</p>")
        with st.container(horizontal=True, key=f"at-odds-ways.{plate}"):
            if plate is not None and item.slip is not None and item.slip.recipe is not None:
                _offer(plate, item.slip, item.slip.recipe)
            ask_whether_right(item)
            if plate is not None and st.button(
                f"Open plate {plate:d} in the log", type="tertiary", key=f"at-odds.{plate}"
            ):
                st.switch_page(LOG.file, query_params={"plate": str(plate)})


def ask_whether_right(item: Contradiction) -> None:
    """Let a person say that an odd plate was checked and is right, or take that back."""
    plate = item.trial.id
    if plate is None:
        return
    if item.checked is None:
        _it_is_right(plate)
    else:
        _doubt(plate)


def _it_is_right(plate: int) -> None:
    """Let a person say that an odd plate was checked and is right, in one tap; kept with who and when."""
    label, seen = f"Plate {plate:d} is right, I checked it", the_studio().trial(plate)
    st.button(label, key=f"at-odds-right.{plate}", on_click=_note_right, args=(plate, seen))


def _note_right(plate: int, seen: Trial) -> None:
    with _kept_to_say(f"Plate {plate} counts in full from now on: it is right, as you checked."):
        the_studio().check_right(plate, who(), seen)


def _doubt(plate: int) -> None:
    """Let it be taken back that a plate is right."""
    label = f"Doubt plate {plate:d} again"
    st.button(label, type="tertiary", key=f"at-odds-doubt.{plate}", on_click=_note_doubt, args=(plate,))


def _note_doubt(plate: int) -> None:
    with _kept_to_say(f"Plate {plate} counts again only as far as the others bear it out."):
        the_studio().doubt_again(plate, who())


def _offer(plate: int, slip: Slip, recipe: Recipe) -> None:
    """Offer to correct what was written down, in one tap; the plate's history keeps what it was."""
    from matcher.suggest.slips import correction_in_words
    from matcher.trials.facts import facts_of

    said, seen = correction_in_words(slip), facts_of(the_studio().trial(plate))
    label = literal(f"Correct plate {plate} to {said}")
    st.button(label, key=f"at-odds-mend.{plate}", on_click=_correct, args=(plate, said, recipe, seen))


def _correct(plate: int, said: str, recipe: Recipe, seen: TypedFacts) -> None:
    with _kept_to_say(f"Plate {plate} now says {said}. Its history keeps what it said before."):
        the_studio().correct(plate, replace(seen, recipe=recipe), instead_of=seen)


@contextmanager
def _kept_to_say(done: str) -> Iterator[None]:
    """Around what a tap does with a plate as it was shown: keep, for the page that follows, what came of it."""
    try:
        yield
    except MatcherError as error:
        st.session_state[CAME_OF_IT] = (str(error), "wrong")
    else:
        st.session_state[CAME_OF_IT] = (done, "done")
