"""Photographs that are kept, and the small pictures made of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from matcher.errors import StudioError
from matcher.studio.stores import StudioStores

if TYPE_CHECKING:
    from matcher.photo.photo import Photo
    from matcher.reading.reading import Reading


class StudioPhotographs(StudioStores):
    """Photographs, kept once each, and small copies and patches of them, made when they are first looked at."""

    def keep_photo(self, source: str | Path | bytes, name: str = "") -> str:
        """Keep a photograph and return its SHA-256; the same one again is kept once. Raises StudioError."""
        name = name or ("" if isinstance(source, bytes) else Path(source).name)
        kept = self.photos.keep(source, name)
        self.log.note_photos([(kept, name)])
        return kept.sha256

    def keep_photos(self, sources: Sequence[str | Path]) -> list[str]:
        """Keep several photographs in one go and return their SHA-256s, in order. Raises StudioError."""
        kept = [(self.photos.keep(source), Path(source).name) for source in sources]
        self.log.note_photos(kept)
        return [photo.sha256 for photo, _ in kept]

    def photo_path(self, sha256: str) -> Path:
        """Return where a kept photograph lies. Raises StudioError when it is not there."""
        return self.photos.path(sha256)

    def small_photo(self, sha256: str, side: int) -> bytes:
        """Return a kept photograph as a JPEG, ``side`` pixels at most (one of ``matcher.photo.small.SIDES``).

        Made once and kept, out of reach of exports. Raises StudioError when it is not there, PhotoError when it cannot
        be opened.
        """
        from matcher.photo.photo import open_photo

        path = self.photo_path(sha256)
        return self.made_small(sha256, side, lambda: open_photo(path))

    def made_small(self, sha256: str, side: int, opened: Callable[[], Photo]) -> bytes:
        """Return any photograph as ``small_photo`` does, opened by ``opened`` when its copy is not made yet."""
        from matcher.photo.small import MADE_THUS, checked_side, small_jpeg

        name = f"photograph {sha256} {checked_side(side)} {MADE_THUS}"
        return self.made_pictures.get(name, lambda: small_jpeg(opened(), side))

    def patch(self, key: str, side: int, read: Callable[[], Reading]) -> bytes:
        """Return what was read as a square JPEG, under the white and the exposure that all patches share.

        Parameters
        ----------
        key : str
            Of the reading, as ``matcher.photo.small.patch_key`` gives it.
        side : int
            One of ``matcher.photo.small.PATCH_SIDES``.
        read : callable
            Gives the reading; called only when its patch is not made yet.

        Returns
        -------
        bytes
            Made once and kept, out of reach of exports; plain where nothing was photographed.

        Raises
        ------
        StudioError
            The reading is another by now, or its photograph is not there.
        PhotoError, ReadingError
            The photograph cannot be opened, or holds no such region.
        """
        from matcher.photo.small import PATCH_SIDES, checked_side, patch_key

        def make() -> bytes:
            reading = read()
            if patch_key(reading) != key:
                raise StudioError("This finish was read again, or is another: reload the page.")
            return self._patch(reading, side)

        return self.made_pictures.get(f"patch {key} {checked_side(side, PATCH_SIDES)}", make)

    def _patch(self, reading: Reading, side: int) -> bytes:
        from matcher.commissions.read_again import photo_as_read
        from matcher.photo.patch import flat_patch, patch
        from matcher.photo.small import jpeg_of

        if reading.photo is None or reading.region is None:
            return jpeg_of(flat_patch(reading.lab, side))
        photo = photo_as_read(self.photo_path(reading.photo), reading)
        return jpeg_of(patch(photo, reading.region, reading.lab, side, reading.left_out_share))
