"""`straightband certify`: the paper that goes with a mirror."""

from __future__ import annotations

import argparse
from pathlib import Path, PurePath

from straightband.cli.answer import Answer, read_file, tell_progress
from straightband.cli.outputs import check_outputs, write_outputs
from straightband.errors import BadInput
from straightband.heightmap.map import HeightMap
from straightband.workflows.certify import certificate_facts, certify
from straightband.workflows.many import cores_here
from straightband.workflows.maps import map_from_file
from straightband.workflows.piece import piece_from_toml
from straightband.workflows.report_reading import reading_lines
from straightband.workflows.report_verdict import verdict_lines


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `certify`."""
    parser.add_argument("piece", metavar="PIECE", help="piece file (TOML): what the piece is, its photographs, its telescope")
    parser.add_argument("--out", required=True, metavar="PDF", help="where the certificate goes, like cert.pdf")


def run(options: argparse.Namespace) -> Answer:
    """Read, judge and write the certificate."""
    out = Path(options.out)
    if out.suffix.lower() != ".pdf":
        raise BadInput(
            found=f"the certificate was to go to '{options.out}'", needed="a name ending in .pdf is needed", remedy="change the ending"
        )
    piece = piece_from_toml(read_file(options.piece, what="the piece file"), name=PurePath(options.piece).name)
    folder = Path(options.piece).parent
    beside = [folder / name for name in (*piece.photographs, piece.reference) if name is not None]
    inputs = (options.piece, *beside)
    check_outputs([out], inputs=inputs)
    photographs = [(PurePath(name).name, read_file(str(folder / name), what="the photograph")) for name in piece.photographs]
    certificate = certify(
        piece, photographs=photographs, reference=_reference(piece.reference, folder=folder), workers=cores_here(), stage=tell_progress
    )
    write_outputs([(out, certificate.pdf)], inputs=inputs)
    judged = verdict_lines(certificate.verdict, certificate.reading.height_map)
    read = (line for line in reading_lines(certificate.reading) if line not in judged)
    return Answer(
        facts={"path": str(out), **certificate_facts(certificate)}, lines=(*judged, "", *read, "", f"Certificate written to {out}")
    )


def _reference(name: str | None, *, folder: Path) -> tuple[str, bytes, HeightMap] | None:
    if name is None:
        return None
    data = read_file(str(folder / name), what="the reference")
    return PurePath(name).name, data, map_from_file(data, PurePath(name).name)
