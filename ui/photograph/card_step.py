"""The grey card in a photograph: found and shown to be confirmed, marked by hand, or done without.

Nothing is taken silently: the next step opens only when the person has said yes to one of the three.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import CardError, MatcherError, ReadingError
from matcher.words import agreeing, capital, listed
from ui.draw import Shape, draw
from ui.escaped import escaped
from ui.photograph.lab_fields import lab_fields
from ui.photograph.photographs import bench_picture, photo_of
from ui.photograph.plates_there import plates_there
from ui.state.cache_keys import Key, card_key, own_card
from ui.state.drafts import Draft
from ui.state.light import CardChoice
from ui.state.messages import tell, told

if TYPE_CHECKING:
    from matcher.card.reading import CardReading
    from matcher.studio import Studio

ANY_CARD = "Any card"
WAYS = {"card": "Grey card", "neutral": "Neutral spot", "none": "Nothing"}
SAID = {
    "markers": "found by its markers",
    "chart": "found by its patches",
    "shape": "found by its shape",
    "corners": "marked by its corners",
}


def card_reading(studio: Studio, sha256: str, choice: CardChoice) -> CardReading | None:
    """Return what the photograph shows of the chosen card, or None without one. Raises MatcherError."""
    if choice.way == "none":
        return None
    found = _looked_for(card_key(studio, sha256, choice), studio, sha256, choice)
    if isinstance(found, MatcherError):
        raise type(found)(str(found)) from found
    return found


@st.cache_resource(show_spinner=False, max_entries=24)
def _looked_for(key: Key, _studio: Studio, _sha256: str, _choice: CardChoice) -> CardReading | CardError | ReadingError:
    """Return the card, or why there is none: a search in vain is kept too, it takes as long."""
    from matcher.card.card import OWN_DELTA_E00
    from matcher.card.detect import find_card, neutral_patch

    photo = photo_of(_studio, _sha256)
    try:
        if _choice.region is not None:
            return neutral_patch(photo, _choice.region)
        own = own_card(_studio, _choice.own)
        lab, to = (None, OWN_DELTA_E00) if own is None else (own.lab, own.tolerance)
        return find_card(photo, kind=_choice.kind, corners=_choice.corners, lab=lab, measured_to=to)
    except (CardError, ReadingError) as error:
        return error


def ask_for_card(studio: Studio, draft: Draft, sha256: str) -> None:
    """Show the photograph and settle the card; the draft's "card" holds the answer afterwards."""
    st.header("What in the picture is neutral grey?", anchor=False)
    picture_side, words_side = st.columns([1.75, 1], gap="medium")
    with words_side:
        way = st.segmented_control(
            "What tells the light's colour?",
            list(WAYS),
            format_func=WAYS.__getitem__,
            required=True,
            label_visibility="collapsed",
            **draft.field("card_way", "card"),
        )
    ask = {"card": _ask_card, "neutral": _ask_neutral, "none": _ask_none}[way or "card"]
    ask(studio, draft, sha256, picture_side, words_side)


def _ask_card(studio: Studio, draft: Draft, sha256: str, picture_side: Any, words_side: Any) -> None:
    with words_side:
        kind, own = _which_card(studio, draft)
    found, trouble = _search(studio, sha256, kind, own)
    marked = _shapes(draft.get("corners"))
    if marked is None:
        marked = () if found is None else (Shape("corners", _points(found.corners)),)
    with picture_side:
        picture = bench_picture(studio, sha256, "The photograph, to mark the grey card on")
        now = draw(picture, "corners", marked, key=f"{draft.form}.{sha256[:12]}.card", noun="card")
    by_hand = found is None or now != (Shape("corners", _points(found.corners)),)
    if now != marked:
        draft.set(corners=[shape.as_dict() for shape in now])
    with words_side:
        if not by_hand and found is not None:
            said = f"{capital(found.card.title)}, {SAID.get(found.found_by, found.found_by)}."
            st.html(f"<p>{escaped(said)} Is the outline around it? Drag a corner to correct it.</p>")
            _settle(draft, CardChoice("card", kind, own), "Yes, that is the card")
        elif now and len(now[0].points) == 4:
            st.html("<p>Put the corners just inside the card's edge.</p>")
            _settle_marked(studio, draft, sha256, CardChoice("card", kind, own, now[0].points))
        else:
            tell(trouble or "Mark the card's four corners.", "warning")
            st.html(
                "<p>Tap its four corners on the picture, one after another, in any order. No card in the picture? "
                f"Choose “{WAYS['neutral']}” or “{WAYS['none']}” above, or use another photograph.</p>"
            )


def _settle_marked(studio: Studio, draft: Draft, sha256: str, choice: CardChoice) -> None:
    """Take marks only when a card can be read inside them; else say why, and keep the marks."""
    if st.button(
        "Use this card" if choice.way == "card" else "Use this spot", type="primary", key=f"{draft.form}.card.use"
    ):
        try:
            with st.spinner("Reading the card…"):
                card_reading(studio, sha256, choice)
        except MatcherError as error:
            tell(str(error))
            return
        draft.set(card=choice.as_dict())
        st.rerun()


def _settle(draft: Draft, choice: CardChoice, label: str) -> None:
    if st.button(label, type="primary", key=f"{draft.form}.card.yes"):
        draft.set(card=choice.as_dict())
        st.rerun()


def _which_card(studio: Studio, draft: Draft) -> tuple[str | None, str | None]:
    """Ask which card it is; the studio's own measured cards stand beside the nominal ones."""
    from matcher.card.card import load_cards

    kinds: dict[str, tuple[str | None, str | None]] = {ANY_CARD: (None, None)}
    kinds |= {capital(card.title): (name, None) for name, card in load_cards().items()}
    kinds |= {f"{card.name} (measured)": (card.kind, card.name) for card in studio.own_cards()}
    field = draft.field("card_kind", ANY_CARD)
    if st.session_state[field["key"]] not in kinds:
        st.session_state[field["key"]] = ANY_CARD
    chosen = kinds[st.selectbox("Which card", list(kinds), **field)]
    _measure_own(studio, draft)
    return chosen


def _measure_own(studio: Studio, draft: Draft) -> None:
    """Let the studio enter what an instrument says of its own grey card."""
    from matcher.card.card import OWN_DELTA_E00

    with st.expander("My grey card has been measured"):
        name = st.text_input("Name of the card", placeholder="bench card", live=True, **draft.field("own_name", ""))
        values = lab_fields(draft, f"own-{draft.form}", ("own_l", "own_a", "own_b"))
        to = st.number_input(
            "The measurement is good to (ΔE00)",
            0.1,
            20.0,
            step=0.1,
            format="%.1f",
            **draft.field("own_to", OWN_DELTA_E00),
        )
        st.html('<p class="pm-soft">D50, 2°. A bought card is near L* 49.5, a* 0, b* 0.</p>')
        anew = " ".join((name or "").split()) in {card.name for card in studio.own_cards()} and st.checkbox(
            "It is the card of that name, measured anew", key=f"{draft.form}.own.anew"
        )
        if st.button("Save this card", key=f"{draft.form}.own.keep"):
            if any(value is None for value in values):
                tell("Enter all three values as the instrument shows them.")
                return
            with told():
                card = studio.save_card(name or "", "grey card", values, to, anew=anew)
                draft.forget(("card_kind", "corners", "own_name", "own_l", "own_a", "own_b", "own_to"))
                draft.set(card_kind=f"{card.name} (measured)")
                st.rerun()


def _search(studio: Studio, sha256: str, kind: str | None, own: str | None) -> tuple[CardReading | None, str | None]:
    try:
        with st.spinner("Looking for the card…"):
            return card_reading(studio, sha256, CardChoice("card", kind, own)), None
    except MatcherError as error:
        return None, str(error)


def _ask_neutral(studio: Studio, draft: Draft, sha256: str, picture_side: Any, words_side: Any) -> None:
    marked = _shapes(draft.get("neutral")) or ()
    with picture_side:
        picture = bench_picture(studio, sha256, "The photograph, to mark something neutral on")
        now = draw(
            picture,
            "regions",
            marked,
            key=f"{draft.form}.{sha256[:12]}.neutral",
            noun="neutral spot",
            plural="neutral spots",
        )
    if now != marked:
        draft.set(neutral=[shape.as_dict() for shape in now])
    with words_side:
        st.html(
            "<p>Mark something without colour that lies in the same light: unpainted concrete, a white cup, grey "
            "primer. The reading will be less certain than with a card.</p>"
        )
        if now:
            _settle_marked(studio, draft, sha256, CardChoice("neutral", region=now[0].points))


def _ask_none(studio: Studio, draft: Draft, sha256: str, picture_side: Any, words_side: Any) -> None:
    with picture_side:
        picture = bench_picture(studio, sha256, "The photograph")
        draw(picture, "look", key=f"{draft.form}.{sha256[:12]}.look")
    with words_side:
        known = [one.name for one in plates_there(studio, sha256) if one.reference is not None]
        if known:
            told_by = f"{listed(known)} in the picture {agreeing(len(known), 'tells', 'tell')} the light"
            tell(f"Without a card, {told_by}. A card as well is surer.", "done")
        else:
            tell(
                "Without a card the light's colour and strength are guessed from the file: the reading may be off by "
                "several ΔE00, and every figure made from it will say so.",
                "warning",
            )
        _settle(draft, CardChoice("none"), "Continue without a card")


def _shapes(kept: Any) -> tuple[Shape, ...] | None:
    return None if kept is None else tuple(Shape.from_dict(shape) for shape in kept)


def _points(corners: Any) -> tuple[tuple[float, float], ...]:
    return tuple((round(float(x), 1), round(float(y), 1)) for x, y in corners)
