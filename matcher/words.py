"""Figures as sentences say them, the same wherever they stand: a share as "25 %", a count with its noun.

The lowest floor: imports nothing. A sentence of the page, the command line or a caveat says its figures with these.
"""

from __future__ import annotations

from collections.abc import Sequence


def percent(share: float) -> str:
    """Say a share of 1 in whole hundredths, with a space before the sign (from memory: ISO 80000-1).

    >>> percent(0.25)
    '25 %'
    """
    return f"{share:.0%}".replace("%", " %")


def with_sign(value: float, plus: bool = False) -> str:
    """Return a figure of either sign to one decimal, with the sign for minus and not a hyphen; never "−0.0".

    >>> with_sign(-0.42), with_sign(-0.04), with_sign(3.0, plus=True)
    ('−0.4', '0.0', '+3.0')
    """
    return f"{value:{'+' if plus else ''}z.1f}".replace("-", "−")


def in_ten(chance: float) -> str:
    """Say a chance, 0 to 1, as people count it: in tenths. What is nearly sure either way is not rounded to sure.

    >>> in_ten(0.62), in_ten(0.03), in_ten(0.97), in_ten(1.0)
    ('6 in 10', 'under 1 in 20', 'over 19 in 20', 'over 19 in 20')
    """
    if chance < 0.05:
        return "under 1 in 20"
    if chance > 0.95:
        return "over 19 in 20"
    return f"{min(9, max(1, round(chance * 10)))} in 10"


def counted(count: int, noun: str) -> str:
    """Say how many of something; the noun is given in the singular and may lead with adjectives ("more pass").

    >>> counted(1, "pass"), counted(0, "logged plate"), counted(60_000, "recipe")
    ('1 pass', '0 logged plates', '60,000 recipes')
    """
    return f"{count:,} {plural(noun, count)}"


def plural(noun: str, count: int) -> str:
    """Return a noun, given in the singular, as it follows a count.

    >>> plural("pass", 1), plural("pass", 2), plural("plate", 0)
    ('pass', 'passes', 'plates')
    """
    return agreeing(count, noun, noun + ("es" if noun.endswith(("s", "x", "ch", "sh")) else "s"))


def agreeing(count: int, one: str = "is", several: str = "are") -> str:
    """Return the word that goes with a count: "is" with 1, "are" with any other."""
    return one if count == 1 else several


def listed(names: Sequence[str], last: str = "and") -> str:
    """Join names as they are said.

    >>> listed(["wax", "lacquer", "oil"], "or")
    'wax, lacquer or oil'
    """
    return f" {last} ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def capital(text: str) -> str:
    """Begin a sentence with what is said.

    >>> capital("plate 88 is passed over")
    'Plate 88 is passed over'
    """
    return text[:1].upper() + text[1:]
