"""Writes what the program itself makes for the documents: docs/pictures/, docs/commands.md, docs/doubts.md and the story in README.md.

Run after a change of a command, of a doubt, of a picture or of a number: ``.venv/bin/python scripts/write_docs.py``. Tests compare the help and
the doubts with the real ones. The certificate is turned into a picture by ``pdftoppm``, pages of the bench by Chromium, where those are installed.
"""

from __future__ import annotations

import io
import json
import os
import shlex
import shutil
import subprocess
import sys
import tempfile
import textwrap
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

from straightband.cli import COMMANDS
from straightband.verdict.flags import MEANINGS
from straightband.workflows.flags import SENTENCES

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
WIDTH_PX = 520
COLOURS = 200
# Picture in docs/pictures -> file of the demonstration.
PICTURES = {
    "before-bands.png": "before-bands.png",
    "before-map.png": "before-map.png",
    "after-map.png": "after-map.png",
    "after-profile.png": "after-profile.png",
    "after-budget.png": "after-budget.png",
    "rings-bands.png": "rings-2-bands.png",
    "batch-sags.png": "batch-sags.png",
    "pads.png": "pads.png",
    "back-clear.png": "back-clear.png",
    "strokes.png": "strokes.png",
}
# Picture in docs/pictures -> page of the bench on the shop of the demonstration.
BENCH_PICTURES = {
    "bench-today.png": "/",
    "bench-order.png": "/orders/1",
    "bench-reading.png": "/readings/1",
    "bench-verdict.png": "/verdicts/2",
}
SCREEN_PX, SCREEN_WIDTH_PX = (1040, 760), 760
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
COLUMNS = 100
DOUBTS = """\
# Doubts

A doubt does not stop the work; it stands on the result, in JSON by its short name and for people as its sentence. This page is written by
`scripts/write_docs.py` from the tables the program uses.
"""
# Called in the folder of the demonstration; a command that is not here has its help only.
EXAMPLES = {
    "order": "straightband order --aperture 250mm --focal-ratio 5 --intercept 205mm --full-field 12mm",
    "plan": "straightband plan batch.toml",
    "gauge": "straightband gauge --leg-circle 40mm --minor 53.5mm --reading 12.4um,12.6um,12.5um --zero 11.0um,11.1um",
    "box": "straightband box --largest 200mm --light sodium",
    "pads": "straightband pads --plate 200mm --pad-diameter 50mm --minor 90mm --pack 10 --out template.pdf",
    "clear": "straightband clear --sheet grid.pdf --paper a4",
    "read": "straightband read after.jpg --minor 53.5mm --light sodium --mark 12.5 --thicker 1 --mirrored 1 --camera 1m --minus flat-a.npz --map mine.npz --profile 0mm,-35mm,0mm,35mm",
    "threeflat": "straightband threeflat AB.npz BC.npz CA.npz AB-54deg.npz --measured 2026-03-02 --out .",
    "step": "straightband step step.jpg --light 632.99nm",
    "judge": "straightband judge after.npz --aperture 250mm --focal-ratio 5 --intercept 205mm --full-field 12mm --iso '3/0.5(0.2)'",
    "strokes": "straightband strokes before.npz --lap 75mm --lap 30mm --lap 15mm --card card.pdf --keep run.toml",
    "keep": "straightband keep --shop shop --out copy-of-the-shop",
    "vouch": "straightband vouch --shop shop --recompute",
    "certify": "straightband certify after.toml --out again.pdf",
}
HEADING = """\
# Commands

Every command takes `--json` for one JSON object instead of text. It exits with 0 when it answered, whatever the answer, and with 2 when it
can't: then one sentence on standard error says what was found, what is needed and what to do, and no file has been written.

Lengths carry their unit (`90mm`, `2 5/8 in`, `1.2m`), wavelengths too (`632.8nm`). A bare number is refused rather than guessed at.
[conventions.md](conventions.md) says what u, v, mark, thicker and mirrored mean.

This page is written by `scripts/write_docs.py` from the real commands. The examples were run in the folder that `straightband demo` makes.
"""


def run_here(command: list[str], *, folder: Path) -> str:
    """Return what a command prints when called in a folder."""
    surroundings = {**os.environ, "COLUMNS": str(COLUMNS), "OPENBLAS_NUM_THREADS": "1"}
    called = [sys.executable, "-m", "straightband", *command[1:]]
    return subprocess.run(called, cwd=folder, env=surroundings, capture_output=True, text=True, check=True).stdout


def section(name: str, *, folder: Path) -> str:
    """Return the chapter of one command: its help, and a call with what it printed."""
    help_text = run_here(["straightband", name, "--help"], folder=folder)
    parts = [f"## straightband {name}", f"```text\n{help_text.rstrip()}\n```"]
    if name in EXAMPLES:
        shown = textwrap.fill(EXAMPLES[name], 110, break_long_words=False, break_on_hyphens=False, subsequent_indent="    ").replace(
            "\n", " \\\n"
        )
        answer = run_here(shlex.split(EXAMPLES[name]), folder=folder)
        parts.append(f"```console\n$ {shown}\n{answer.rstrip()}\n```")
    return "\n\n".join(parts)


def small_png(data: bytes, *, width_px: int = WIDTH_PX) -> bytes:
    """Return a picture shrunk to the width of a page and to few colours."""
    picture = Image.open(io.BytesIO(data)).convert("RGB")
    picture = picture.resize((width_px, round(picture.height * width_px / picture.width)), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    picture.quantize(COLOURS, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.FLOYDSTEINBERG).save(out, "PNG", optimize=True)
    return out.getvalue()


def write_pictures(folder: Path) -> None:
    """Put the pictures of the demonstration into docs/pictures."""
    for name, source in PICTURES.items():
        (DOCS / "pictures" / name).write_bytes(small_png((folder / source).read_bytes()))
    if shutil.which("pdftoppm") is None:
        print("pdftoppm is not installed: the picture of the certificate stays as it was")
        return
    subprocess.run(["pdftoppm", "-r", "120", "-png", "-singlefile", "certificate.pdf", "page"], cwd=folder, check=True)
    (DOCS / "pictures" / "certificate.png").write_bytes(small_png((folder / "page.png").read_bytes()))


def write_bench_pictures(shop: Path) -> None:
    """Put pictures of the bench, as a browser shows it, into docs/pictures."""
    browser = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, BROWSERS)), None)
    if browser is None:
        print("no Chromium is installed: the pictures of the bench stay as they were")
        return
    command = [sys.executable, "-m", "straightband", "bench", "--shop", str(shop), "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as bench:
        try:
            told = json.loads(bench.stdout.readline() if bench.stdout else "{}")
            write_screens(told["address"], browser=browser)
        finally:
            bench.terminate()


def write_screens(address: str, *, browser: str) -> None:
    """Put pictures of pages of an open bench into docs/pictures."""
    with sync_playwright() as driver, driver.chromium.launch(executable_path=browser) as window:
        page = window.new_page(viewport={"width": SCREEN_PX[0], "height": SCREEN_PX[1]})
        for name, path in BENCH_PICTURES.items():
            page.goto(f"{address}{path}", wait_until="networkidle")
            (DOCS / "pictures" / name).write_bytes(small_png(page.screenshot(), width_px=SCREEN_WIDTH_PX))


def write_between(path: Path, *, begin: str, end: str, text: str) -> None:
    """Put a text between two lines of a document."""
    before, _, rest = path.read_text(encoding="utf-8").partition(begin)
    path.write_text(f"{before}{begin}\n{text}\n{end}{rest.partition(end)[2]}", encoding="utf-8")


def doubts() -> str:
    """Return the page of doubts."""
    rows = [f"| `{name}` | {says} |" for says_of in (SENTENCES, MEANINGS) for name, says in says_of.items()]
    return "\n".join([DOUBTS.rstrip(), "", "| short name | what it says |", "|---|---|", *dict.fromkeys(rows), ""])


def main() -> None:
    """Write all of it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "demo-out"
        told = run_here(["straightband", "demo", "--out", folder.name], folder=folder.parent)
        (DOCS / "pictures").mkdir(exist_ok=True)
        write_pictures(folder)
        write_bench_pictures(folder / "shop")
        sections = [section(command, folder=folder) for command in COMMANDS]
        story = (folder / "story.txt").read_text(encoding="utf-8")
    telling = f"What `straightband demo` tells:\n\n```text\n{told.rstrip()}\n```"
    (DOCS / "commands.md").write_text("\n\n".join([HEADING.rstrip(), *sections, telling]) + "\n", encoding="utf-8")
    (DOCS / "doubts.md").write_text(doubts(), encoding="utf-8")
    write_between(ROOT / "README.md", begin="<!-- story begins -->", end="<!-- story ends -->", text=f"```text\n{story.rstrip()}\n```")


if __name__ == "__main__":
    main()
