"""The recipe as a form in the order of the bench: metal, undercoat, coats, seal; prefilled from a recipe."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import RecipeError
from matcher.recipe.fields import COAT, METAL, SEAL, UNDERCOAT, Part
from matcher.recipe.names import canonical, each_once
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat, not_noted
from matcher.words import capital
from ui.show import look
from ui.show.literal import literal
from ui.state.drafts import Draft
from ui.state.messages import tell

if TYPE_CHECKING:
    from matcher.studio import Studio
    from matcher.trials.stocks import Stock
    from matcher.trials.trial import Trial

COMMON = {  # what a studio that has logged nothing is offered; common practice, no source
    "alloy": ("silicon bronze",),
    "surface": ("cleaned, bright",),
    "undercoat": ("liver of sulphur",),
    "coat": ("ferric nitrate", "cupric nitrate"),
    "application": ("fine mist", "brush", "stipple"),
}
NO_SEAL = "none"
OLD_NOTES = "old_notes"
"""Whether an empty figure is one that nobody noted, rather than one that is still to be filled in."""
SEALS = {NO_SEAL: "None", "wax": "Wax", "lacquer": "Lacquer"}


def fields_of(recipe: Recipe) -> dict[str, Any]:
    """Return a recipe as the form's fields."""
    fields = _of_part(METAL, recipe) | _of_part(UNDERCOAT, recipe.undercoat) | _of_part(SEAL, recipe.seal)
    fields |= {"under_on": recipe.undercoat is not None, "coats": len(recipe.coats)}
    for number, coat in enumerate(recipe.coats):
        fields |= _of_part(COAT, coat, number)
    return {"seal_kind": NO_SEAL, OLD_NOTES: bool(not_noted(recipe)), **fields}


def new_plate_of(recipe: Recipe) -> dict[str, Any]:
    """Return a recipe as the fields of a plate that is made now: what an old plate's notes lack is asked for."""
    return {**fields_of(recipe), OLD_NOTES: False}


def recipe_of(fields: Mapping[str, Any]) -> Recipe | None:
    """Return the recipe that a form's kept fields make, or None while something is missing or cannot be."""
    try:
        sealed = fields.get("seal_kind", NO_SEAL) != NO_SEAL
        recipe = Recipe(
            **_part_of(METAL, fields),
            undercoat=Undercoat(**_part_of(UNDERCOAT, fields)) if fields.get("under_on") else None,
            coats=tuple(Coat(**_part_of(COAT, fields, number)) for number in range(fields["coats"])),
            seal=Seal(**_part_of(SEAL, fields)) if sealed else None,
        )
        return recipe if fields.get(OLD_NOTES) or not not_noted(recipe) else None
    except (KeyError, TypeError, RecipeError):
        return None


def _of_part(part: Part, value: object | None, number: int = 0) -> dict[str, Any]:
    prefix = part.prefix.format(number=number)
    return {} if value is None else {prefix + field.name: getattr(value, field.name) for field in part}


def _part_of(part: Part, fields: Mapping[str, Any], number: int = 0) -> dict[str, Any]:
    """Return a part's fields; a bottle that was not asked for is none. Raises KeyError where another is missing."""
    prefix = part.prefix.format(number=number)
    return {
        field.name: fields.get(prefix + field.name) if field.kind == "label" else fields[prefix + field.name]
        for field in part
    }


def bottles(studio: Studio) -> dict[str, list[Stock]]:
    """Return the bottles by their chemicals' canonical names; the latest first, those used up last."""
    by_chemical: dict[str, list[Stock]] = {}
    latest_first = list(reversed(studio.stocks()))
    for stock in sorted(latest_first, key=lambda stock: stock.used_up_at is not None):
        by_chemical.setdefault(canonical(stock.chemical), []).append(stock)
    return by_chemical


class RecipeForm:
    """The form on the page. ``show`` draws it and returns its recipe, or None; ``faults`` then says which fields.

    converts: a newly chosen bottle converts the strength that was of another one. Where a plate is corrected it does
    not: there the bottle itself was misnoted.
    """

    def __init__(
        self,
        draft: Draft,
        trials: Iterable[Trial],
        stocks: dict[str, list[Stock]],
        strict: bool,
        converts: bool = False,
    ) -> None:
        self.converts = converts
        self.draft = draft
        self.offered = _in_use(trials)
        self.stocks = stocks
        self.strict = strict
        self.unknown = False
        self.faults: list[str] = []

    def show(self) -> Recipe | None:
        """Draw the form and return its recipe; None while something is missing or cannot be.

        What cannot be is said beside its field at once, what is missing once the plate was to be logged (``strict``).
        """
        alloy, surface = self._metal()
        undercoat = self._undercoat()
        coats = self._coats()
        seal = self._seal()
        if self.faults:
            return None
        return self._made("The metal", lambda: Recipe(alloy, undercoat, tuple(coats), seal, surface))

    def _made(self, part: str, make: Any) -> Any:
        try:
            return make()
        except RecipeError as error:
            self.faults.append(f"{part}: {str(error)[:1].lower()}{str(error)[1:]}")
            tell(str(error))
            return None

    def _metal(self) -> tuple[str, str]:
        left, right = st.columns(2)
        with left:
            alloy = self._choice("Alloy", "alloy", "alloy")
        with right:
            surface = self._choice("Surface before you started", "surface", "surface")
        self.unknown = st.toggle(
            "Some figures were never noted",
            help="For a plate from an old notebook: leave empty what nobody noted. It is kept as not noted.",
            **self.draft.field(OLD_NOTES, False),
        )
        return alloy, surface

    def _undercoat(self) -> Undercoat | None:
        with look.panel(f"{self.draft.form}-under"):
            if not st.toggle("Undercoat", **self.draft.field("under_on", False)):
                return None
            chemical = self._choice("Chemical", "under_chemical", "undercoat")
            left, right = st.columns(2, wrap=False, vertical_alignment="bottom")
            with left:
                strength = self._number("Strength (1 is stock)", "under_strength", 0.5, 0.05)
            with right:
                burnish = self._number("Burnish (0 to 1)", "under_burnish", 0.0, 0.05)
            stock = self._stock("under_stock", chemical)
            if not self._filled("Undercoat", strength=strength, burnish=burnish):
                return None
            return self._made("Undercoat", lambda: Undercoat(chemical, strength, burnish, stock))

    def _coats(self) -> list[Coat]:
        count = int(self.draft.get("coats", 1))
        coats = []
        for number in range(count):
            with look.panel(f"{self.draft.form}-coat{number}"):
                coat = self._coat(number, count)
                if coat is not None:
                    coats.append(coat)
        if st.button("Add a coat", key=f"{self.draft.form}.addcoat", icon=":material/add:"):
            self.draft.fill({**standing(self.draft), "coats": count + 1})
            st.rerun()
        return coats

    def _coat(self, number: int, count: int) -> Coat | None:
        name = "Coat" if count == 1 else f"Coat {number + 1}"
        with st.container(horizontal=True, horizontal_alignment="distribute", vertical_alignment="center"):
            st.html(f"<strong>{name}</strong>", width="content")
            if st.button("Remove", type="tertiary", key=f"{self.draft.form}.dropcoat{number}"):
                self.draft.fill(_without_coat(standing(self.draft), number, count))
                st.rerun()
        chemical = self._choice("Chemical", f"coat{number}_chemical", "coat")
        left, right = st.columns(2, wrap=False, vertical_alignment="bottom")
        with left:
            strength = self._number("Strength (1 is stock)", f"coat{number}_strength", 0.5, 0.05)
            passes = self._number("Passes", f"coat{number}_passes", 6, 1)
        with right:
            temp = self._number("Surface, °C", f"coat{number}_surface_temp_c", 104.0, 1.0)
            application = self._choice("Applied as", f"coat{number}_application", "application")
        stock = self._stock(f"coat{number}_stock", chemical)
        if not self._filled(name, strength=strength, passes=passes, **{"surface temperature": temp}):
            return None
        made: Coat | None = self._made(name, lambda: Coat(chemical, strength, passes, temp, application, stock))
        return made

    def _seal(self) -> Seal | None:
        with look.panel(f"{self.draft.form}-seal"):
            offered = {**SEALS, **{kind: capital(kind) for kind in [self.draft.get("seal_kind", "none")]}}
            kind = st.segmented_control(
                "Seal",
                list(offered),
                format_func=lambda kind: literal(offered[kind]),
                required=True,
                **self.draft.field("seal_kind", "none"),
            )
            if kind in (None, "none"):
                return None
            left, right = st.columns(2, wrap=False, vertical_alignment="bottom")
            with left:
                coats = self._number("Coats of seal", "seal_coats", 3, 1)
            with right:
                hot = st.toggle("First coat on warm metal", **self.draft.field("seal_hot", False))
            if not self._filled("Seal", **{"number of coats": coats}):
                return None
            made: Seal | None = self._made("Seal", lambda: Seal(str(kind), coats, bool(hot)))
            return made

    def _choice(self, label: str, name: str, of_what: str) -> str:
        offered = list(self.offered[of_what])
        field = self.draft.field(name, offered[0])
        standing = st.session_state[field["key"]]
        if standing and standing not in offered:
            offered.insert(0, standing)
        return str(st.selectbox(label, offered, accept_new_options=True, **field) or "")

    def _number(self, label: str, name: str, default: float, step: float) -> Any:
        # A field that was emptied stays empty; Streamlit needs to be told that it may be.
        kind = int if isinstance(default, int) else float
        field = self.draft.field(name, default)
        if st.session_state[field["key"]] is not None:
            st.session_state[field["key"]] = kind(st.session_state[field["key"]])
        return st.number_input(label, value=None, step=step, format="%d" if kind is int else "%g", **field)

    def _stock(self, name: str, chemical: str) -> str | None:
        """Ask which bottle it was, where the studio keeps a shelf of stock solutions."""
        there = {stock.label: stock for stock in self.stocks.get(canonical(chemical), [])}
        if not there:
            return None
        field = self.draft.field(name, None)
        if st.session_state[field["key"]] not in there:
            st.session_state[field["key"]] = None
        if self.converts:
            field |= {"on_change": self._bottle_chosen, "args": (name, field["key"], there)}
        label = st.selectbox(
            "From the bottle",
            list(there),
            format_func=lambda label: literal(_on_the_shelf(there[label])),
            placeholder="Not recorded",
            **{"index": None, **field},
        )
        if said := st.session_state.get(f"{self.draft.form}.{name}.said"):
            kind, sentence, of = said
            if of == label:
                tell(sentence, kind)
        return label

    def _bottle_chosen(self, name: str, key: str, there: dict[str, Stock]) -> None:
        """Keep the bottle that was chosen, and convert the strength that was of the one before it."""
        from matcher.bench.mixing_wording import converted_in_words
        from matcher.trials.stocks import converted

        before, label = self.draft.get(name), st.session_state.get(key)
        strength_of = f"{name.removesuffix('stock')}strength"
        strength = self.draft.shown(strength_of)
        fields = {**standing(self.draft), name: label}
        said: tuple[str, str, str | None] | None = None
        if before in there and label in there and before != label and strength:
            try:
                made = converted(Undercoat("any", strength, stock=before), there[before], there[label])
                fields[strength_of] = round(made.layer.strength, 4)
                said = ("done", converted_in_words(made, before), label)
            except RecipeError as error:
                said = ("warning", f"{error} The strength in the form is still that of {before}.", label)
        self.draft.fill(fields)
        st.session_state[f"{self.draft.form}.{name}.said"] = said

    def _filled(self, part: str, **figures: Any) -> bool:
        missing = [] if self.unknown else [name for name, value in figures.items() if value is None]
        if not missing:
            return True
        self.faults.append(f"{part}: fill in the {' and the '.join(missing)}.")
        if self.strict:
            tell(f"Fill in the {' and the '.join(missing)}, or say above that some figures were never noted.")
        return False


def standing(draft: Draft) -> dict[str, Any]:
    """Return all fields of a form as they stand on the page, those left at their default too."""
    shown = {name: st.session_state[key] for name in _names(draft) if (key := draft.key(name)) in st.session_state}
    return {**draft.values, **shown}


def _on_the_shelf(stock: Stock) -> str:
    return f"{stock.label} (used up)" if stock.used_up_at is not None else stock.label


def _names(draft: Draft) -> list[str]:
    prefix = draft.key("")
    return [str(key)[len(prefix) :] for key in st.session_state if str(key).startswith(prefix)]


def _without_coat(fields: dict[str, Any], gone: int, count: int) -> dict[str, Any]:
    """Return the fields with one coat taken out and those after it moved up."""
    kept = {name: value for name, value in fields.items() if not name.startswith("coat") or name == "coats"}
    order = [number for number in range(count) if number != gone]
    for new, old in enumerate(order):
        prefix = f"coat{old}_"
        kept |= {f"coat{new}_{name[len(prefix) :]}": value for name, value in fields.items() if name.startswith(prefix)}
    return {**kept, "coats": count - 1}


def _in_use(trials: Iterable[Trial]) -> dict[str, list[str]]:
    """Return the words that the log uses for each choice, the latest first, before the common ones."""
    seen: dict[str, dict[str, None]] = {name: {} for name in COMMON}
    for trial in reversed(list(trials)):
        recipe = trial.recipe
        seen["alloy"].setdefault(recipe.alloy)
        seen["surface"].setdefault(recipe.surface)
        if recipe.undercoat is not None:
            seen["undercoat"].setdefault(recipe.undercoat.chemical)
        for coat in recipe.coats:
            seen["coat"].setdefault(coat.chemical)
            seen["application"].setdefault(coat.application)
    return {name: list(each_once([*words, *COMMON[name]])) for name, words in seen.items()}
