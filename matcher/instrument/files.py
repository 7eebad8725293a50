"""A file from elsewhere becomes its Samples: opened within bounds, its format told from its first words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from matcher.errors import InstrumentFileError, Misfit
from matcher.files import opened
from matcher.instrument import cgats, cxf, table
from matcher.instrument.choices import Question, settled, what_is_open
from matcher.instrument.measured import Sample

MAX_BYTES = 16_000_000
MAX_SAMPLES = 5_000


@dataclass(frozen=True)
class InstrumentFile:
    """What a file holds. questions: what it leaves open; samples: none while one of these must be answered first."""

    name: str
    samples: tuple[Sample, ...]
    questions: tuple[Question, ...]

    @property
    def unanswered(self) -> Question | None:
        """The first question that has no answer, None when there are samples."""
        return next((question for question in self.questions if question.taken is None), None)


def read_targets(
    source: str | Path | bytes, name: str = "", answers: Mapping[str, str] | None = None
) -> tuple[Sample, ...]:
    """Return the named colours of an instrument's file, in its order.

    CGATS.17 text (ISO 28178), CxF3 (ISO 17972-1) and CSV are told apart by what is in the file.

    Parameters
    ----------
    source : str, Path or bytes
        A path, or the file's bytes.
    name : str
        What messages call the file.
    answers : mapping of str to str, optional
        To what the file leaves open, by what they are about (``choices.Asked``): "angle", "condition", "white",
        "illuminant", "observer".

    Returns
    -------
    tuple of Sample
        Each with a name and a Reading under D50 for 2 degrees.

    Raises
    ------
    InstrumentFileError
        One sentence that says what to do.

    Examples
    --------
    >>> (sample,) = read_targets(b"name,L,a,b\\nold door,38,14,22\\n", "door.csv")
    >>> sample.name, sample.reading.lab.tolist()
    ('old door', [38.0, 14.0, 22.0])
    """
    file = read_file(source, name, answers)
    if file.unanswered is not None:
        raise InstrumentFileError(f"{file.name} cannot be used. {what_is_open(file.unanswered)}")
    return file.samples


def read_file(source: str | Path | bytes, name: str = "", answers: Mapping[str, str] | None = None) -> InstrumentFile:
    """Return an instrument's file with what it leaves open; otherwise as ``read_targets``."""
    name = (name or ("" if isinstance(source, bytes) else Path(source).name) or "The file")[-80:]
    try:
        data = source if isinstance(source, bytes) else _read(Path(source))
        if len(data) > MAX_BYTES:
            raise InstrumentFileError(f"Export fewer samples: a file up to {MAX_BYTES / 1e6:.0f} MB can be read.")
        if data[:4] == b"PK\x03\x04":
            raise InstrumentFileError("Take the file out of its zip first, or save the spreadsheet as CSV.")
        text = decoded(data)
        if text.lstrip().startswith("<"):
            rows = cxf.rows_of(data, MAX_SAMPLES)
        elif cgats.is_cgats(text):
            rows = cgats.rows_of(text, MAX_SAMPLES)
        else:
            rows = table.rows_of(text, MAX_SAMPLES)
        samples, questions = settled(rows, answers or {})
    except InstrumentFileError as error:
        raise InstrumentFileError(f"{name} cannot be used. {error}") from error
    return InstrumentFile(name, samples, questions)


def decoded(data: bytes) -> str:
    """Return a file's text: UTF-8, UTF-16 by its mark, else Windows' Western alphabet. Raises InstrumentFileError."""
    encodings = ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252", "latin-1")
    for encoding in encodings:
        try:
            text = data.decode(encoding)
            break
        except UnicodeDecodeError:
            continue
    else:
        text = "\0"
    if not text.strip():
        raise InstrumentFileError("Export it again: it is empty.")
    if "\0" in text:
        raise InstrumentFileError("Give a CGATS text, CxF3 or CSV file: this is none of them, nor text at all.")
    return text


def _read(path: Path) -> bytes:
    try:
        with opened(path) as file:
            return file.read(MAX_BYTES + 1)
    except Misfit as misfit:
        raise InstrumentFileError(f"It {misfit}.") from misfit
    except OSError as error:
        raise InstrumentFileError(f"Copy it to this machine's disk: it can't be read ({error.strerror}).") from error
