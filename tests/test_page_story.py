"""The whole story once in Chromium, in a studio that begins empty: from the first bottle to the repair years later.

What other tests cover in every detail is only gone through here. Three things are done through `Studio`, since
they are tested on the page elsewhere: which target a piece of the first plates serves, the reading of the plate once it
is waxed, and the plate of the first cast. All invented.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from matcher.reading.reading import Reading
from matcher.trials.trial import StageReading
from tests.browser import Served, Visitor
from tests.plates import a_trial
from tests.test_page_path import FINISH, picture

SCULPTOR = "A. Quill-Marsh (invented)"


def write(visitor: Visitor, label: str, text: str) -> None:
    box = visitor.page.get_by_role("textbox", name=label, exact=True)
    box.fill(text)
    box.press("Tab")
    visitor.settle()


def unfold(visitor: Visitor, name: str) -> None:
    visitor.page.get_by_text(name, exact=True).first.click()
    visitor.settle()


def test_from_an_empty_studio_to_the_repair(
    serve: Callable[[Path], Served], visit: Callable[..., Visitor], tmp_path: Path
) -> None:
    served = serve(tmp_path / "studio")
    visitor = visit(served)
    a_bottle_is_made(visitor)
    three_first_plates_lie_on_the_bench(visitor, served)
    a_commission_is_taken_on_and_its_target_read(visitor)
    a_plate_is_recorded_from_the_bench(visitor, served)
    the_plate_is_waxed_and_signed_off(visitor, served)
    the_next_cast_is_coloured_and_noted(visitor, served)
    a_repair_is_begun(visitor, served)
    assert visitor.foreign == []


def a_bottle_is_made(visitor: Visitor) -> None:
    visitor.open()
    visitor.sees(re.compile("^Start from a client"))
    visitor.open("solutions?part=make")
    write(visitor, "Label on the bottle", "Fe 1")
    visitor.press("Put it on the shelf")
    visitor.sees("Fe 1 is on the shelf.")


def three_first_plates_lie_on_the_bench(visitor: Visitor, served: Served) -> None:
    visitor.open("first-plates")
    visitor.press(re.compile(r"^Take the next \d plates to the bench"))
    visitor.open("bench?piece=none")
    visitor.sees(re.compile(r"^\d pieces on the bench"))
    with served.studio() as studio:
        assert len(studio.shelf.pieces()) >= 3


def a_commission_is_taken_on_and_its_target_read(visitor: Visitor) -> None:
    visitor.open("commissions")
    visitor.press("Take on a commission")
    write(visitor, "The piece", "Heron fountain")
    write(visitor, "Its areas, one to a line", "bird\nreeds")
    visitor.type_number("Casts in the edition", "3")
    visitor.press("Take on the commission")
    visitor.press("Give bird a target")
    visitor.press("Upload", role="radio")
    visitor.upload(picture("client_reference.jpg"))
    visitor.press("Yes, that is the card")
    visitor.bench().drag(*FINISH)
    visitor.press("Save it for bird")
    visitor.sees(re.compile("^Heron fountain, bird"))


def a_plate_is_recorded_from_the_bench(visitor: Visitor, served: Served) -> None:
    """Of the first plates' run, now that there is a target that it serves."""
    with served.studio() as studio:
        (target,) = studio.targets()
        piece = studio.shelf.change(studio.shelf.pieces()[0].uid, lambda one: replace(one, target_id=target.id))
    visitor.open(f"bench?piece={piece.uid}")
    visitor.press(re.compile("pass 1 "))
    visitor.press("Record this plate")
    visitor.sees("The recipe comes from the bench, with the passes that were actually done.")
    visitor.press("Instrument or Munsell", role="radio")
    for label, value in zip(("L*", "a*", "b*"), target.reading.lab, strict=True):
        visitor.type_number(label, f"{value:.1f}")
    visitor.press("Log this plate")
    visitor.sees(re.compile("It is the first plate"))


def the_plate_is_waxed_and_signed_off(visitor: Visitor, served: Served) -> None:
    with served.studio() as studio:
        (plate,) = studio.trials()
        (target,) = studio.targets()
        trial = next(piece for piece in studio.shelf.pieces() if piece.target_id is None)
        studio.shelf.change(trial.uid, lambda one: replace(one, target_id=target.id, counts=(4,)))
        studio.add_stage(plate.id or 0, StageReading("waxed", Reading(plate.reading.lab - (0.5, 0.0, 0.0))))
    visitor.open("commissions?commission=1&sign=1")
    write(visitor, "Approved by", SCULPTOR)
    write(visitor, "In what light it was judged", "daylight, north window")
    visitor.press(f"Sign off plate {plate.id}")
    visitor.sees(re.compile(re.escape(f"was signed off by {SCULPTOR}")))
    unfold(visitor, "Sign-off and its sheet")
    assert visitor.download("Print the sign-off").read_bytes().startswith(b"%PDF-")


def the_next_cast_is_coloured_and_noted(visitor: Visitor, served: Served) -> None:
    """While a trial for the old target still lies there; cast 2 is begun beside cast 1."""
    visitor.sees(re.compile("^Trial: "))
    visitor.press("Colour bird on cast 1")
    visitor.press(re.compile("^I have read them"))
    visitor.sees(re.compile("as signed off"))
    visitor.open("commissions?commission=1")
    visitor.sees("Go on at the bench with bird, cast 1")
    visitor.press("Colour bird on cast 2")
    visitor.press(re.compile("^I have read them"))
    visitor.open("commissions?commission=1")
    visitor.sees("Go on at the bench with bird, cast 2")
    visitor.sees("Colour bird on cast 3")
    visitor.sees(re.compile(r"^Cast 1: Piece \d"))
    with served.studio() as studio:
        aim = studio.sign_offs.standing(1)
        assert aim is not None
        casts = [piece for piece in studio.shelf.pieces() if piece.target_id == aim.aim_id]
        assert [piece.cast for piece in casts] == [1, 2], "the approved plate is their aim"
        lab = studio.trials()[0].reading.lab
        cast = studio.record(a_trial(reading=Reading(lab), stages=(), uid="cast", target_id=aim.aim_id))
    visitor.open("commissions?commission=1")
    unfold(visitor, "Casts and drift")
    visitor.press(f"Yes, plate {cast.id} is that cast")
    visitor.sees(re.compile("fewer than 5 casts"))
    with served.studio() as studio:
        assert [(one.number, one.trial_id) for one in studio.casts.of_area(1)] == [(1, cast.id)]


def a_repair_is_begun(visitor: Visitor, served: Served) -> None:
    visitor.press("Begin a repair")
    with served.studio() as studio:
        assert len(studio.commissions.commissions()) == 1, "nothing is made by the first tap"
    write(visitor, "What is to be repaired", "a scratch across the beak")
    visitor.press("Take on the repair")
    visitor.sees("Read the surface of bird as it is today")
    with served.studio() as studio:
        assert studio.commissions.commission(2).areas[0].repairs_uid is not None
