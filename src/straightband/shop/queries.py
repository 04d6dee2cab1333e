"""Questions to the record that go over several tables."""

from __future__ import annotations

from straightband.shop.entries import (
    Batch,
    CertificateEntry,
    Clearing,
    Exposure,
    FaceEntry,
    GridPhotograph,
    Photograph,
    PieceEntry,
    ReadingEntry,
    Run,
    VerdictEntry,
)
from straightband.shop.record import Record, entry_of

# Where a list is made, what is drawn over the photograph is left, and of the facts all but those that lists tell: to decode them takes longer than to find them.
LISTED_FACTS = ("surface", "uncertainty", "sign")
_LISTED = ", ".join(f"'{name}', json_extract(r.found, '$.{name}')" for name in LISTED_FACTS)
_LIGHT_READING = (
    f"r.id, r.at, r.corrects, r.face_id, r.flat_id, r.told, json_object({_LISTED}) AS found, '{{}}' AS drawing, r.map_sha256, r.program"
)
BACK = "back"  # the name of the face that only has to pass light
_PIECES_OPEN = """
FROM piece AS p WHERE p.corrects IS NULL AND NOT EXISTS (
    SELECT 1 FROM face AS f JOIN reading AS r ON r.face_id = f.id JOIN certificate AS c ON c.reading_id = r.id WHERE f.piece_id = p.id)
"""


def open_pieces(record: Record, *, limit: int) -> tuple[PieceEntry, ...]:
    """Pieces without a certificate, the newest first."""
    rows = record.connection.execute(f"SELECT p.id {_PIECES_OPEN} ORDER BY p.id DESC LIMIT ?", (limit,))
    return tuple(record.current(PieceEntry, row["id"]) for row in rows)


def count_open_pieces(record: Record) -> int:
    """How many there are: all, less those with a certificate, which are quicker to find than to miss."""
    row = record.connection.execute(
        "SELECT (SELECT COUNT(*) FROM piece WHERE corrects IS NULL) - (SELECT COUNT(DISTINCT f.piece_id) FROM certificate AS c "
        "JOIN reading AS r ON r.id = c.reading_id JOIN face AS f ON f.id = r.face_id)"
    ).fetchone()
    return int(row[0])


def newest_batch(record: Record, piece_root: int) -> Batch | None:
    """The batch that a piece was planned in last, or None."""
    row = record.connection.execute(
        "SELECT b.id FROM batch AS b, json_each(b.told, '$.pieces') AS each WHERE each.value = ? ORDER BY b.id DESC LIMIT 1", (piece_root,)
    ).fetchone()
    return None if row is None else record.get(Batch, row["id"])


def faces_of(record: Record, piece_root: int) -> tuple[FaceEntry, ...]:
    """The faces of a piece."""
    return record.listing(FaceEntry, piece_id=piece_root)


def back_of(record: Record, piece_root: int) -> FaceEntry | None:
    """The back of a piece, or None while nothing was entered of it."""
    found = record.listing(FaceEntry, piece_id=piece_root, name=BACK)
    return found[0] if found else None


def backs(record: Record) -> tuple[FaceEntry, ...]:
    """The backs of all pieces."""
    return record.listing(FaceEntry, name=BACK)


def grid_photographs_of(record: Record, back_root: int) -> tuple[GridPhotograph, ...]:
    """Photographs of a back since it was ground last, in the order they were taken."""
    found: list[GridPhotograph] = []
    for each in record.listing(GridPhotograph, face_id=back_root):
        found = [each] if each.begins else [*found, each]
    return tuple(found)


def newest_clearing(record: Record, back_root: int) -> Clearing | None:
    """How far a back had cleared when it was last looked at, or None."""
    found = record.listing(Clearing, newest_first=True, limit=1, face_id=back_root)
    return found[0] if found else None


def run_of_timer(record: Record, timer_id: int) -> Run | None:
    """The run that a timer was stopped for, as it holds now, or None while it goes."""
    row = record.connection.execute("SELECT id FROM run WHERE timer_id = ?", (timer_id,)).fetchone()
    return None if row is None else record.current(Run, row["id"])


def readings_of(record: Record, face_root: int, *, limit: int = -1) -> tuple[ReadingEntry, ...]:
    """Readings of a face with nothing but the facts that lists tell, the newest first."""
    rows = record.connection.execute(
        f"SELECT {_LIGHT_READING} FROM reading AS r WHERE r.face_id = ? ORDER BY r.id DESC LIMIT ?",  # noqa: S608 - columns stand above
        (face_root, limit),
    )
    return tuple(entry_of(ReadingEntry, row) for row in rows)


def readings_without_flat(record: Record, *, limit: int) -> tuple[ReadingEntry, ...]:
    """Readings from which no reference flat was taken off, as light as those of a face, the newest first."""
    asked = f"SELECT {_LIGHT_READING} FROM reading AS r WHERE r.flat_id IS NULL ORDER BY r.id DESC LIMIT ?"  # noqa: S608 - columns stand above
    return tuple(entry_of(ReadingEntry, row) for row in record.connection.execute(asked, (limit,)))


def photographs_of(record: Record, reading_id: int) -> tuple[Photograph, ...]:
    """The photographs that a reading rests on, in their order."""
    exposures = sorted(record.listing(Exposure, reading_id=reading_id), key=lambda each: each.place)
    return tuple(record.get(Photograph, each.photograph_id) for each in exposures)


def readings_with(record: Record, photograph_id: int) -> tuple[int, ...]:
    """Numbers of the readings that rest on a photograph, the newest first."""
    rows = record.connection.execute("SELECT reading_id FROM exposure WHERE photograph_id = ? ORDER BY reading_id DESC", (photograph_id,))
    return tuple(row["reading_id"] for row in rows)


def newest_verdict(record: Record, reading_id: int) -> VerdictEntry | None:
    """The newest verdict on a reading, or None."""
    found = record.listing(VerdictEntry, newest_first=True, limit=1, reading_id=reading_id)
    return found[0] if found else None


def newest_certificate(record: Record, reading_id: int) -> CertificateEntry | None:
    """The newest certificate of a reading, or None."""
    found = record.listing(CertificateEntry, newest_first=True, limit=1, reading_id=reading_id)
    return found[0] if found else None
