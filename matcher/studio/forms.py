"""Half-typed forms, kept until they are finished, each of the person at work."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from matcher.hands import form_of, own
from matcher.studio.stores import StudioStores

if TYPE_CHECKING:
    from matcher.storage.drafts import Kept


class StudioForms(StudioStores):
    """Half-typed forms, each of the person at work."""

    def draft(self, form: str) -> dict[str, Any] | None:
        """Return what was saved of a half-typed form, or None."""
        return self._drafts.draft(own(form))

    def draft_of(self, person_uid: str, form: str) -> dict[str, Any] | None:
        """Return what a person keeps of a half-typed form, or None; for whether it stands, not to show it."""
        return self._drafts.draft(form_of(person_uid, form))

    def save_draft(self, form: str, body: dict[str, Any]) -> None:
        """Keep a half-typed form as it stands. Raises StudioError when it is not plain JSON."""
        self._drafts.save(own(form), body)

    def claim_draft(self, form: str, body: dict[str, Any]) -> bool:
        """Keep a form where nothing is kept of it yet; tell whether that was so."""
        free: list[bool] = []

        def first(kept: dict[str, Any] | None) -> dict[str, Any]:
            free.append(not kept)
            return kept or body

        self._drafts.change(own(form), first)
        return free[-1]

    def drop_draft(self, form: str) -> None:
        """Forget a form's draft; none kept is no error."""
        self._drafts.drop(own(form))

    def drafts(self, beginning: str) -> list[Kept]:
        """Return all half-typed forms whose name begins so, the one saved last at the end."""
        before = len(own(""))
        return [replace(kept, form=kept.form[before:]) for kept in self._drafts.kept(own(beginning))]
