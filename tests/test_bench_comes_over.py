"""What stood on the bench, and in the record forms, before there was a place for more than one comes over."""

from __future__ import annotations

from typing import Any

import pytest
import sqlalchemy as sa
from alembic import command
from sqlalchemy.orm import Session

from matcher.bench.work import GROUND, After
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Undercoat
from matcher.storage import schema
from matcher.storage.schema import Table
from matcher.storage.upgrade import migrations
from matcher.studio import Studio
from ui.recipe.record_forms import half_filled

TWO = Recipe(
    "silicon bronze",
    Undercoat("liver of sulphur", 0.5, 0.25),
    (Coat("cupric nitrate", 0.25, 3, 100.0), Coat("ferric nitrate", 0.5, 9, 105.0)),
)
READ = {"reading": Reading(lab=(50.0, 12.0, 24.0)).as_dict(), "taken_as": {"way": "typed", "lab_l": 50.0}}


def stood(place: str, drafts: dict[str, Any]) -> None:
    """Make of a new studio one of the revision before, with these drafts in it."""
    with Studio.open(place) as studio:
        for form, body in drafts.items():
            studio.save_draft(form, body)
        with studio.database.writing() as session:
            back_to_r0002(session)


AT_R0002 = frozenset(
    [
        "studio",
        "photos",
        "stocks",
        "targets",
        "trials",
        "coats",
        "readings",
        "trial_photos",
        "history",
        "drafts",
        "own_cards",
        "own_card_patches",
        "camera_profiles",
        "alembic_version",
    ]
)
"""The tables that there were before the first piece came over."""


def back_to_r0002(session: Session) -> None:
    """Undo what the later revisions add."""
    there = set(sa.inspect(session.connection()).get_table_names())
    for table in reversed(Table.metadata.sorted_tables):
        if table.name in there - AT_R0002:
            session.execute(sa.text(f"DROP TABLE {table.name}"))
    for column in ("made_at", "alloy", "set_aside", "made_by", "seal_kind", "undercoat_chemical"):
        session.execute(sa.text(f"DROP INDEX ix_trials_{column}"))
    session.execute(sa.text("DROP INDEX ix_coats_chemical"))
    for column in ("formula", "made_by", "kept_where", "volume_ml", "opened_at", "used_up_at"):
        session.execute(sa.text(f"ALTER TABLE stocks DROP COLUMN {column}"))
    for table, column in (("studio", "moved_to"), ("photos", "chunk_count")):
        session.execute(sa.text(f"ALTER TABLE {table} DROP COLUMN {column}"))
    session.execute(sa.text("UPDATE alembic_version SET version_num = 'r0002'"))


def test_both_pieces_and_both_forms_come_over_with_all_that_was_counted_and_read(place: str) -> None:
    piece = {"recipe": TWO.as_dict(), "source": "Plate 3", "target_id": 2, "sealed": "wax"}
    stood(
        place,
        {
            "bench": {**piece, "begun": "p1", "done": 4, "readings": {"0": READ, "4": READ}, "from_form": False},
            "bench reading": {"way": "typed", "lab_l": 41.0, "reading_open": True, "after": 4},
            "bench laid by": {
                **piece, "begun": "p2", "done": 1, "readings": {}, "half_read": {"lab_l": 33.0, "after": 0},
                "taken_out": {"after": 1, **READ},
            },
            "plate": {"piece": "H-7", "bench_piece": "p0"},
            "plate laid by": {"piece": "H-6"},
            "target": {"way": "typed"},
        },
    )  # fmt: skip
    with Studio.open(place) as studio:
        first, second = sorted(studio.shelf.pieces(), key=lambda one: one.uid)
        assert first.recipe == TWO and (first.target_id, first.sealed, first.source) == (2, "wax", "Plate 3")
        assert first.counts == (1, 1, 1, 3, 4) and first.passes == (3, 4) and first.at == 4
        assert [taken.after for taken in first.readings] == [After(0, 3), After(1, 4)], "0 was after the coat below"
        assert first.readings[0].taken_as == READ["taken_as"]
        assert studio.draft("bench reading p1") == {
            "way": "typed", "lab_l": 41.0, "reading_open": True, "after": "1.4",
        }  # fmt: skip
        assert second.passes == (3, 1) and second.taken_out is not None and second.taken_out.after == After(1, 1)
        assert studio.draft("bench reading p2") == {"lab_l": 33.0, "after": "0.3"}
        assert {kept.body["piece"] for kept in half_filled(studio)} == {"H-6", "H-7"}
        assert studio.draft("target") == {"way": "typed"}
        for gone in ("bench", "bench reading", "bench laid by", "plate laid by"):
            assert studio.draft(gone) is None
        assert {first.number, second.number} == {1, 2}


def test_a_piece_in_the_record_form_and_a_recipe_that_was_only_chosen_come_over(place: str) -> None:
    plain = Recipe("silicon bronze", None, (Coat("ferric nitrate", 0.5, 9, 105.0),))
    stood(
        place,
        {
            "bench": {
                "begun": "p1",
                "recipe": plain.as_dict(),
                "done": 5,
                "readings": {"0": READ},
                "handed_over": True,
            },
            "plate": {"bench_piece": "p1"},
        },
    )
    with Studio.open(place) as studio:
        piece = studio.shelf.piece("p1")
        assert piece.handed_over and piece.form == "plate" and piece.counts == (5,)
        assert piece.readings[0].after == GROUND and piece.target_id is None


def test_a_recipe_that_was_only_chosen_stays_chosen(place: str) -> None:
    stood(place, {"bench": {"offered": TWO.as_dict(), "source": "Plate 3"}})
    with Studio.open(place) as studio:
        assert studio.shelf.pieces() == [] and (studio.draft("bench") or {})["source"] == "Plate 3"


@pytest.mark.parametrize("twice", [1, 2])
def test_what_has_come_over_stays_when_it_is_done_again(place: str, twice: int) -> None:
    with Studio.open(place) as studio:
        studio.save_draft("plate", {"piece": "H-7"})
        config = migrations()
        for _ in range(twice):
            with studio.database.writing() as session:
                back_to_r0002(session)
                config.attributes["connection"] = session.connection()
                command.upgrade(config, schema.HEAD)
        assert studio.draft("plate") == {"piece": "H-7"}
