"""Make a bottle of stock solution: what to weigh, in which order to work, its hazards beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.bench.mixing_wording import order_of_work, weighed
from matcher.dates import ISO, made_on, now, shown
from matcher.errors import MatcherError, RecipeError
from matcher.recipe.hazards import hazards_of, keeping_of
from matcher.recipe.names import each_once
from matcher.recipe.quantities import SALTS, Weighing, measurable_weighing, weigh_salt
from ui.bench.bottle_shelf import hazards_html, precautions_html
from ui.escaped import escaped
from ui.show import look
from ui.state.drafts import Draft
from ui.state.messages import tell

if TYPE_CHECKING:
    from matcher.studio import Studio

COMMON = (
    "ferric nitrate",
    "cupric nitrate",
    "liver of sulphur",
    "silver nitrate",
    "cupric sulphate",
    "ferric chloride",
)
DONE = "bottle.made"


@dataclass(frozen=True)
class _Wanted:
    """What is to be made, as far as it can be weighed."""

    chemical: str
    formula: str
    exact: Weighing
    measured: Weighing

    @property
    def grams_per_litre(self) -> float:
        return self.measured.salt_g / self.measured.volume_ml * 1000.0


def show_making(studio: Studio) -> None:
    draft = Draft(studio, "bottle")
    if said := st.session_state.pop(DONE, None):
        tell(said, "done")
    left, right = st.columns([1.25, 1], gap="medium")
    with left, look.panel("bottle-what"):
        wanted = _ask_what(studio, draft)
    with left, look.panel("bottle-about"):
        _ask_about(studio, draft)
        pressed = st.button("Put it on the shelf", type="primary", key="bottle.keep")
        if pressed:
            _keep(studio, draft, wanted)
    with right, st.container(key="flask-work"):
        _work(draft, wanted)


def _ask_what(studio: Studio, draft: Draft) -> _Wanted | None:
    used = [stock.chemical for stock in reversed(studio.stocks())]
    offered = list(each_once([*used, *COMMON, *SALTS]))
    field = draft.field("chemical", offered[0])
    standing = st.session_state[field["key"]]
    if standing and standing not in offered:
        offered.insert(0, standing)
    chemical = str(st.selectbox("Chemical", offered, accept_new_options=True, **field) or "")
    formula = st.text_input(
        "Salt at hand, with its water",
        placeholder="Fe(NO3)3·9H2O, as its label says",
        live=True,
        **draft.field("formula", ""),
    )
    one, two = st.columns(2, wrap=False, vertical_alignment="bottom")
    with one:
        grams = _number("Grams per litre", draft, "grams", 400.0, 10.0)
    with two:
        volume = _number("Millilitres to make", draft, "volume", 500.0, 50.0)
    meant = ""
    if st.toggle("Those grams are of another form of the salt", **draft.field("other", False)):
        meant = st.text_input("Those grams are of", placeholder="Fe(NO3)3·6H2O", live=True, **draft.field("meant", ""))
    step = _number("The balance shows, g", draft, "balance", 0.1, 0.1)
    if grams is None or volume is None or step is None:
        st.html('<p class="pm-soft">Fill in the strength, the volume and what the balance shows.</p>')
        return None
    formula, meant = (formula or "").strip(), (meant or "").strip()
    try:
        exact = weigh_salt(volume, grams, *((meant, formula) if meant and formula else (None, None)))
        _check_formula(formula)
        return _Wanted(chemical, formula, exact, measurable_weighing(exact, step))
    except RecipeError as error:
        tell(str(error))
        return None


def _check_formula(formula: str) -> None:
    from matcher.recipe.quantities import molar_mass_g_per_mol

    if formula:
        molar_mass_g_per_mol(formula)


def _ask_about(studio: Studio, draft: Draft) -> None:
    label = st.text_input(
        "Label on the bottle", placeholder="Fe 12: used once, never again", live=True, **draft.field("label", "")
    )
    if label and any(stock.label == " ".join(label.split()) for stock in studio.stocks()):
        tell("Choose another label: a bottle has had this one, and plates rely on it.", "warning")
    one, two = st.columns(2)
    with one:
        st.text_input("Made by", live=True, **draft.field("made_by", _last_maker(studio)))
        st.text_input("Made on", live=True, **draft.field("made_on", shown(now(), ISO)))
        draft.keep_along("made_on")
    with two:
        st.text_input("Where it stands", placeholder="acid cabinet", live=True, **draft.field("kept_where", ""))
        st.text_input("Lot of the salt", live=True, **draft.field("lot", ""))
    st.text_input("Notes", live=True, **draft.field("notes", ""))


def _last_maker(studio: Studio) -> str:
    return next((stock.made_by for stock in reversed(studio.stocks()) if stock.made_by), "")


def _keep(studio: Studio, draft: Draft, wanted: _Wanted | None) -> None:
    from matcher.trials.stocks import Stock

    if wanted is None:
        tell("The bottle was not kept: put right what is said above. Everything you typed is saved.")
        return
    if any(stock.label == " ".join(str(draft.shown("label", "")).split()) for stock in studio.stocks()):
        tell("The bottle was not kept: give it a label of its own. Everything you typed is saved.")
        return
    text: dict[str, Any] = {
        name: str(draft.shown(name, "") or "") for name in ("label", "lot", "notes", "made_by", "kept_where")
    }
    try:
        stock = studio.bottles.save(
            Stock(
                chemical=wanted.chemical,
                grams_per_litre=wanted.grams_per_litre,
                made_at=made_on(str(draft.shown("made_on") or "")),
                formula=wanted.formula,
                volume_ml=wanted.measured.volume_ml,
                **text,
            )
        )
    except MatcherError as error:
        tell(f"{error} Everything you typed is saved.")
        return
    draft.drop()
    st.session_state[DONE] = f"{stock.label} is on the shelf. Print its label there, and stick it on now."
    st.rerun()


def _work(draft: Draft, wanted: _Wanted | None) -> None:
    """Say what to weigh, large; then the order of work and the hazards."""
    if wanted is None:
        st.html('<p class="pm-soft">What to weigh stands here once the form is complete.</p>')
        return
    words = weighed(wanted.exact, wanted.measured, wanted.formula or wanted.chemical)
    st.html(f'<p class="pm-weigh" role="status">{escaped(words)}</p>')
    if not wanted.formula:
        st.html(
            '<p class="pm-soft">Note the formula on the salt\'s label: a later bottle of another hydrate is then '
            "converted rightly.</p>"
        )
    steps = "".join(f"<li>{escaped(step)}</li>" for step in order_of_work(wanted.chemical))
    st.html(f'<strong>In this order</strong><ol class="pm-steps">{steps}</ol><p class="pm-soft">Common practice.</p>')
    if keeping := keeping_of(wanted.chemical):
        st.html(f"<strong>How it keeps</strong><p>{escaped(keeping)}</p>")
    salt, solution = hazards_of(wanted.chemical), hazards_of(wanted.chemical, wanted.grams_per_litre)
    st.html(
        f"<strong>As it is bought</strong>{hazards_html(salt)}<strong>The solution</strong>{hazards_html(solution)}"
    )
    with st.expander("What to wear, and what to do when it goes wrong"):
        st.html(precautions_html(salt))


def _number(label: str, draft: Draft, name: str, default: float, step: float) -> Any:
    return st.number_input(label, value=None, min_value=0.0, step=step, format="%g", **draft.field(name, default))
