"""The commands on solutions: the shelf of bottles, what to weigh and pour, what to mix for a recipe, what was used."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from matcher.cli.bench import named_piece
from matcher.cli.suggest import caution_lines
from matcher.recipe.recipe import describe
from matcher.typed_in import values
from matcher.typed_in.options import Commands, Parser, add_overwrite, add_paper, add_recipe
from matcher.typed_in.photographs import opened_studio, studio_that_is_there
from matcher.typed_in.words import Answer, unprinted_lines, write
from matcher.words import capital

if TYPE_CHECKING:
    from matcher.recipe.hazards import Hazards
    from matcher.recipe.recipe import Recipe
    from matcher.sheets.bottle_labels import Label
    from matcher.studio import Studio
    from matcher.trials.stocks import Stock

AREA_CM2 = 100.0
"""A usual sample plate, 10 by 10 cm (common practice, no source)."""
GRAVEST = 3


def add_commands(commands: Commands) -> None:
    about = "List the bottles of stock solution; make, open, mix, note what was used."
    listing = commands.add("solutions", about, list_bottles)
    _add_list(listing)
    parts = Commands(listing, "PART", required=False)
    _add_list(parts.add("list", "List the bottles: what, how strong, how old, what to mind.", list_bottles), again=True)
    _add_bottle(parts.add("add", "Put a bottle on the shelf.", add))
    for name, about, function in (
        ("open", "Note that a bottle was opened.", opened),
        ("used-up", "Note that a bottle is empty, or was thrown away.", used_up),
    ):
        part = _of_bottle(parts.add(name, about, function))
        part.add_argument("--on", metavar="DATE", help="2025-03-31 (today)")
        part.add_argument("--undo", action="store_true", help="it is not so after all")
    moved = _of_bottle(parts.add("move", "Note where a bottle stands.", move))
    moved.add_argument("place", metavar="PLACE")
    _add_weigh(parts.add("weigh", "Say what to weigh for a bottle, and in which order to work.", weigh))
    _add_dilute(parts.add("dilute", "Say what to pour for a strength: from stock, or with a leftover.", dilute))
    _add_mix(parts.add("mix", "Say what to mix for a recipe: bottle and millilitres for each layer.", mix))
    _add_use(_of_bottle(parts.add("use", "Note how much of a bottle was used.", use)))
    back = parts.add("take-back-use", "Take back a use that was noted in error.", take_back_use)
    back.add_argument("uid", metavar="UID", help="as list --json names it")
    back.add_argument("--by", default="", help="who does it")


def _add_list(parser: Parser, again: bool = False) -> None:
    """Add the options of the list. again: of the part, so that what stood before it stays."""
    none: Any = argparse.SUPPRESS if again else None
    no: Any = argparse.SUPPRESS if again else False
    parser.add_argument("--all", action="store_true", default=no, help="with those used up")
    parser.add_argument("--labels", metavar="FILE.pdf", default=none, help="write their labels, to print")
    parser.add_argument("--only", metavar="LABEL", action="append", default=none, help="only this; may be given again")
    add_paper(parser, none)
    parser.add_argument(
        "--overwrite", action="store_true", default=no, help="replace the file when it is there already"
    )


def _of_bottle(parser: Parser) -> Parser:
    parser.add_argument("label", metavar="LABEL", help="of the bottle")
    parser.add_argument("--by", default="", help="who does it")
    return parser


def _add_bottle(parser: Parser) -> None:
    _of_bottle(parser)
    parser.add_argument("--chemical", metavar="NAME", required=True, help="as recipes say it: ferric nitrate")
    about = "grams of what was weighed in a litre of solution"
    parser.add_argument("--grams-per-litre", metavar="G", type=values.figure, required=True, help=about)
    parser.add_argument("--formula", default="", help='of what was weighed, with its water: "Fe(NO3)3·9H2O"')
    parser.add_argument("--volume", metavar="ML", type=values.figure, help="millilitres that were made")
    parser.add_argument("--lot", default="", help="of the salt")
    parser.add_argument("--made-at", metavar="DATE", help="2025-03-31 (now)")
    parser.add_argument("--where", metavar="PLACE", default="", help="where it stands")
    parser.add_argument("--notes", default="", help="anything else")


def _add_weigh(parser: Parser) -> None:
    parser.add_argument("--chemical", metavar="NAME", required=True, help="as recipes say it: ferric nitrate")
    parser.add_argument("--grams-per-litre", metavar="G", type=values.figure, required=True, help="strength wanted")
    parser.add_argument("--volume", metavar="ML", type=values.figure, required=True, help="millilitres to make")
    about = 'what those grams are of, when the salt at hand is another: "Fe(NO3)3·6H2O"'
    parser.add_argument("--meant", metavar="FORMULA", help=about)
    parser.add_argument("--at-hand", metavar="FORMULA", help='the salt at hand: "Fe(NO3)3·9H2O"')
    parser.add_argument("--balance", metavar="G", type=values.figure, default=0.1, help="what the balance shows (0.1)")


def _add_dilute(parser: Parser) -> None:
    parser.add_argument("--volume", metavar="ML", type=values.figure, required=True, help="millilitres wanted")
    parser.add_argument("--strength", metavar="S", type=values.figure, required=True, help="wanted, of stock: 0.5")
    about = 'what is left over, "millilitres,strength": 100,0.25'
    parser.add_argument("--leftover", metavar="ML,S", help=about)
    about = "strength of what is poured, when it is not the stock itself (1)"
    parser.add_argument("--at-hand", metavar="S", type=values.figure, default=1.0, help=about)
    _add_cylinder(parser)


def _add_cylinder(parser: Parser) -> None:
    about = "millilitres that the cylinder shows (the smallest usual one that holds each part)"
    parser.add_argument("--cylinder", metavar="ML", type=values.figure, help=about)


def _add_mix(parser: Parser) -> None:
    add_recipe(parser)
    parser.add_argument("--trial", metavar="ID", type=values.whole, help="the recipe of a logged plate")
    parser.add_argument("--from-bench", metavar="PIECE", help="the recipe of a piece on the bench, by number or mark")
    about = f"cm² of the surface ({AREA_CM2:g})"
    parser.add_argument("--area", metavar="CM2", type=values.figure, default=AREA_CM2, help=about)
    about = 'mix a layer from another bottle: "coat 1=Fe 12"; may be given again'
    parser.add_argument("--bottle", metavar="PART=LABEL", action="append", default=[], help=about)
    about = "share to mix beyond what goes on (0.2)"
    parser.add_argument("--spare", metavar="SHARE", type=values.figure, default=0.2, help=about)
    _add_cylinder(parser)
    parser.add_argument("--labels", metavar="FILE.pdf", help="write labels for what is mixed, to print")
    add_paper(parser)
    parser.add_argument("--by", default="", help="who mixes, for the labels")
    add_overwrite(parser)


def _add_use(parser: Parser) -> None:
    parser.add_argument("--ml", metavar="ML", type=values.figure, required=True, help="millilitres as they were used")
    about = "at which it was used, of this stock (1)"
    parser.add_argument("--strength", metavar="S", type=values.figure, default=1.0, help=about)
    parser.add_argument("--area", metavar="CM2", type=values.figure, help="cm² of the surface")
    parser.add_argument("--passes", metavar="N", type=values.whole, help="laid with it")
    parser.add_argument("--laid-on-as", metavar="TEXT", default="", help="fine mist, brush, stipple")
    parser.add_argument("--trial", metavar="ID", type=values.whole, help="the plate")
    parser.add_argument("--on", metavar="DATE", help="2025-03-31 (now)")
    parser.add_argument("--notes", default="", help="anything else")


def list_bottles(options: argparse.Namespace) -> Answer:
    """List the bottles on the shelf, and write their labels."""
    from matcher.bench.mixing import standing_together
    from matcher.sheets.bottle_labels import label_of_stock

    with studio_that_is_there(options) as studio:
        shelf, uses, name, title = studio.stocks(), studio.bottles.uses(), studio.name, studio.title
    shown = [stock for stock in shelf if options.all or stock.used_up_at is None]
    for label in options.only or []:
        if label not in [stock.label for stock in shelf]:
            raise values.TypingError(f"Check --only: there is no bottle labelled {label!r}.")
    if options.only:
        shown = [stock for stock in shelf if stock.label in options.only]
    lines = [line for stock in shown for line in _bottle_lines(stock, uses)]
    apart = standing_together(shown)
    for place, clashes in apart:
        lines += [f"Don't keep these side by side ({place}):", *(f"    {caution.message}" for caution in clashes)]
    document = {
        "studio": name,
        "bottles": [_bottle(stock, uses) for stock in shown],
        "uses": [use.as_dict() for use in uses],
        "side_by_side": [
            {"place": place, "cautions": [caution.as_dict() for caution in clashes]} for place, clashes in apart
        ],
        "labels": options.labels,
    }
    if options.labels is not None:
        lacks = _write_labels(options, [label_of_stock(stock) for stock in shown], title)
        lines += [f"Wrote {options.labels}: print it at actual size.", *lacks]
    return Answer(document, lines or ["No bottle is on the shelf yet: put one there with solutions add."])


def add(options: argparse.Namespace) -> Answer:
    """Put a bottle on the shelf."""
    from matcher.dates import moment_made
    from matcher.trials.stocks import Stock

    made_at = datetime.now(UTC) if options.made_at is None else moment_made(options.made_at)
    with opened_studio(options) as studio:
        there = any(stock.label == options.label for stock in studio.stocks())
        stock = studio.bottles.save(
            Stock(
                options.label,
                options.chemical,
                options.grams_per_litre,
                options.lot,
                made_at,
                options.notes,
                options.formula,
                options.by,
                options.where,
                options.volume,
            ),
            options.by,
        )
        return _one(studio, stock, "It is on the shelf already: nothing was changed." if there else "On the shelf:")


def opened(options: argparse.Namespace) -> Answer:
    """Note that a bottle was opened."""
    return _changed(options, opened_at=None if options.undo else _day(options.on))


def used_up(options: argparse.Namespace) -> Answer:
    """Note that a bottle is used up."""
    return _changed(options, used_up_at=None if options.undo else _day(options.on))


def move(options: argparse.Namespace) -> Answer:
    """Note where a bottle stands."""
    return _changed(options, kept_where=options.place)


def weigh(options: argparse.Namespace) -> Answer:
    """Say what to weigh for a bottle."""
    from matcher.bench.mixing_wording import order_of_work, weighed
    from matcher.recipe.hazards import hazards_of, keeping_of
    from matcher.recipe.quantities import measurable_weighing, molar_mass_g_per_mol, weigh_salt

    at_hand = options.at_hand or options.meant
    meant = options.meant or options.at_hand
    exact = weigh_salt(options.volume, options.grams_per_litre, meant, at_hand)
    measured = measurable_weighing(exact, options.balance)
    salt = hazards_of(options.chemical)
    grams_per_litre = measured.salt_g / measured.volume_ml * 1000.0
    solution = hazards_of(options.chemical, grams_per_litre)
    document = {
        "chemical": options.chemical,
        "formula": at_hand or "",
        "molar_mass_g_per_mol": None if at_hand is None else molar_mass_g_per_mol(at_hand),
        "salt_g": measured.salt_g,
        "exact_salt_g": exact.salt_g,
        "volume_ml": measured.volume_ml,
        "grams_per_litre": grams_per_litre,
        "order_of_work": order_of_work(options.chemical),
        "hazards_of_the_salt": salt.as_dict(),
        "hazards_of_the_solution": solution.as_dict(),
    }
    steps = [f"{number}. {step}" for number, step in enumerate(order_of_work(options.chemical), start=1)]
    lines = [
        weighed(exact, measured, at_hand or options.chemical),
        *steps,
        *_hazard_lines("As it is bought", salt),
        *_hazard_lines("The solution", solution),
        *filter(None, [keeping_of(options.chemical)]),
    ]
    return Answer(document, lines)


def dilute(options: argparse.Namespace) -> Answer:
    """Say what to pour for a strength."""
    from matcher.bench.mixing_wording import fraction, pour, pour_blend
    from matcher.recipe.quantities import dilute_from, measurable_blend, measurable_dilution, use_leftover

    if options.leftover is not None:
        left_ml, left_strength = values.pair(options.leftover, "the leftover as millilitres,strength (100,0.25)")
        if options.at_hand != 1.0:
            raise values.TypingError("Give either --leftover, made up with stock, or --at-hand.")
        blend = measurable_blend(
            use_leftover(options.volume, options.strength, left_ml, left_strength), left_strength, options.cylinder
        )
        return Answer({**vars(blend)}, [f"{pour_blend(blend, 'stock')}."])
    exact = dilute_from(options.volume, options.strength, options.at_hand)
    measured = measurable_dilution(exact, options.cylinder)
    what = "stock" if options.at_hand == 1.0 else f"what is at {fraction(options.at_hand)}"
    said = f"Pour {pour(measured, what)}: {fraction(measured.strength)}."
    return Answer({**vars(measured), "wanted_strength": options.strength}, [said])


def mix(options: argparse.Namespace) -> Answer:
    """Say what to mix for a recipe."""
    from matcher.bench.mixing import STOPS, layers_of, mix_recipe
    from matcher.bench.mixing_wording import defer_lines, layer_lines
    from matcher.recipe.cautions import cautions_for
    from matcher.sheets.bottle_labels import label_of_mix

    at = datetime.now(UTC)
    with studio_that_is_there(options) as studio:
        recipe = _recipe(options, studio)
        stocks = studio.stocks()
        chosen = _chosen(options.bottle, [part for part, _ in layers_of(recipe)], stocks)
        uses = studio.bottles.uses()
        meant = studio.last_mixed_from()
        plan = mix_recipe(recipe, options.area, stocks, uses, at, chosen, options.spare, options.cylinder, meant)
        title = studio.title
    cautions = cautions_for(plan.mixed_recipe)
    lines = [describe(recipe), f"For {options.area:g} cm²:"]
    for each in plan.layers:
        lines += [
            "",
            f"{capital(each.part)}: {each.layer.chemical}",
            *(f"    {line}" for line in layer_lines(each)),
        ]
        lines += [f"    {each.rate.sentence}", *_hazard_lines("    As mixed", each.hazards, defer=False)]
    if not plan.layers:
        lines.append("Nothing is mixed for this recipe: it has no layers.")
    document = {**plan.as_dict(), "cautions": [caution.as_dict() for caution in cautions], "labels": options.labels}
    if options.labels is not None:
        ready = [each for each in plan.layers if not set(each.troubles) & STOPS]
        lacks = _write_labels(options, [label_of_mix(each, at, options.by) for each in ready], title)
        lines += ["", f"Wrote {options.labels}: print it at actual size.", *lacks]
    return Answer(document, [*lines, "", *defer_lines(plan.layers), "", *caution_lines(cautions)])


def use(options: argparse.Namespace) -> Answer:
    """Note how much of a bottle was used."""
    from matcher.bench.mixing import noted_uses
    from matcher.dates import moment_made
    from matcher.recipe.usage import pass_rate
    from matcher.trials.stocks import SolutionUse

    at = datetime.now(UTC) if options.on is None else moment_made(options.on)
    with studio_that_is_there(options) as studio:
        noted = studio.bottles.note_use(
            SolutionUse(
                options.label,
                options.strength,
                options.ml,
                options.area,
                options.passes,
                options.laid_on_as,
                options.trial,
                at,
                options.by,
                options.notes,
            )
        )
        uses = studio.bottles.uses()
        stock = studio.bottles.stock(options.label)
    rate = pass_rate(noted_uses(uses), noted.application)
    document = {"use": noted.as_dict(), "bottle": _bottle(stock, uses), "rate": rate.as_dict()}
    return Answer(document, [*_bottle_lines(stock, uses), rate.sentence])


def take_back_use(options: argparse.Namespace) -> Answer:
    """Take back a use that was noted in error."""
    with studio_that_is_there(options) as studio:
        studio.bottles.take_back_use(options.uid, options.by)
    return Answer({"taken_back": options.uid}, ["It no longer counts; the history of the bottle keeps it."])


def _recipe(options: argparse.Namespace, studio: Studio) -> Recipe:
    given = options.recipe is not None or values.is_stepwise(options)
    if sum([given, options.trial is not None, options.from_bench is not None]) > 1:
        raise values.TypingError("Give one recipe: that of a plate, of a piece on the bench, or one of your own.")
    if options.trial is not None:
        return studio.trial(options.trial).recipe
    if options.from_bench is not None:
        return named_piece(studio, options.from_bench).recipe
    return values.recipe_given(options)


def _chosen(texts: Sequence[str], parts: Sequence[str], stocks: Sequence[Stock]) -> dict[str, str]:
    """Read "coat 1=Fe 12"."""
    labels = [stock.label for stock in stocks]
    found = {}
    for text in texts:
        part, _, label = (word.strip() for word in text.partition("="))
        if part.casefold() not in parts:
            raise values.TypingError(f"Give --bottle as PART=LABEL, the part one of {', '.join(parts)}: not {text!r}.")
        if label not in labels:
            raise values.TypingError(f"Check --bottle: there is no bottle labelled {label!r} on the shelf.")
        found[part.casefold()] = label
    return found


def _changed(options: argparse.Namespace, **changed: Any) -> Answer:
    with studio_that_is_there(options) as studio:
        return _one(studio, studio.bottles.change(options.label, options.by, **changed), "Noted:")


def _day(text: str | None) -> datetime:
    from matcher.dates import moment_made

    return datetime.now(UTC) if text is None else moment_made(text)


def _one(studio: Studio, stock: Stock, said: str) -> Answer:
    uses = studio.bottles.uses()
    return Answer({"studio": studio.name, "bottle": _bottle(stock, uses)}, [said, *_bottle_lines(stock, uses)])


def _bottle(stock: Stock, uses: Sequence[Any]) -> dict[str, Any]:
    from matcher.recipe.hazards import age_caution, age_days, hazards_of
    from matcher.trials.stocks import left_ml

    at = datetime.now(UTC)
    caution = age_caution(stock.chemical, stock.made_at, at)
    return {
        **stock.as_dict(),
        "age_days": age_days(stock.made_at, at),
        "left_ml": left_ml(stock, uses),
        "caution": None if caution is None else caution.as_dict(),
        "hazards": hazards_of(stock.chemical, stock.grams_per_litre).as_dict(),
    }


def _bottle_lines(stock: Stock, uses: Sequence[Any]) -> list[str]:
    """Say one bottle: what, how strong, how old, what is left, what to mind."""
    from matcher.bench.mixing_wording import about_bottle, strength_of
    from matcher.recipe.hazards import age_caution, hazards_of

    caution = age_caution(stock.chemical, stock.made_at, datetime.now(UTC))
    return [
        f"{stock.label}: {stock.chemical}, {strength_of(stock)}",
        f"    {about_bottle(stock, uses, datetime.now(UTC))}",
        *([f"    {caution.message}"] if caution is not None and stock.used_up_at is None else []),
        *_hazard_lines("   ", hazards_of(stock.chemical, stock.grams_per_litre), defer=False),
    ]


def _hazard_lines(what: str, hazards: Hazards, defer: bool = True) -> list[str]:
    signal = f"{hazards.signal.upper()}. " if hazards.signal else ""
    lead = f"{what} " if not what.strip() else f"{what}: "
    lines = [f"{lead}{signal}{hazards.sentence}"]
    return [*lines, f"{hazards.source} {hazards.defer}"] if defer else lines


def _write_labels(options: argparse.Namespace, labels: Sequence[Label], studio: str) -> list[str]:
    """Write labels; return what is to be said of signs that can't be printed."""
    from matcher.sheets.bottle_labels import bottle_labels

    paper = values.paper(options.paper)
    write(options.labels, bottle_labels(labels, studio, paper), options.overwrite)
    return unprinted_lines(studio, labels)
