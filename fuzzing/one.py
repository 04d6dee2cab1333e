"""Fuzz one target in this process: `python -m fuzzing.one NAME --engine chance|guided --count N --out FOLDER`.

By chance: changes to the seeds and to what they became. Guided: by the coverage of our own code and of what it parses with, through atheris (libFuzzer),
which is not among the project's requirements: `pip install atheris`.
"""

from __future__ import annotations

import argparse
import faulthandler
import hashlib
import importlib
import os
import random
import resource
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

LONGEST_S = 10
LONGEST_STILL_S = 120
MOST_MEMORY_KB = 2 << 20
LARGEST_POOL = 400
# Parsers in Python that are watched beside our own code.
WATCHED = (
    "straightband", "fuzzing", "tomllib", "zipfile", "xml", "json", "numpy.lib.format", "numpy.lib._format_impl", "PIL", "tifffile", "multipart", "python_multipart", "starlette",
)  # fmt: skip
Feed = Callable[[bytes], object]


def main(arguments: list[str] | None = None) -> None:
    """Run until the count is reached or a fault is found, which ends the process with a traceback and keeps the input."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("name")
    parser.add_argument("--engine", choices=("chance", "guided"), default="chance")
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--again", type=Path, help="feed this one input only")
    asked = parser.parse_args(arguments)
    out = asked.out.resolve()
    out.mkdir(parents=True, exist_ok=True)
    faulthandler.enable()
    sys.dont_write_bytecode = True
    watch_files(out, Path(tempfile.gettempdir()))
    if asked.again:
        _target(asked.name).feed(asked.again.read_bytes())
    elif asked.engine == "guided":
        guided(asked.name, count=asked.count, seed=asked.seed, out=out)
    else:
        print(by_chance(asked.name, count=asked.count, seed=asked.seed, current=out / f"{asked.name}.current"))


def _target(name: str) -> object:
    if name in ("routes", "read"):
        return importlib.import_module(f"fuzzing.{name}").TARGET
    return importlib.import_module("fuzzing.targets").TARGETS[name]


def check_event(event: str, arguments: tuple, *, allowed: Callable[[str], bool]) -> None:
    """Raise AssertionError where an event of the interpreter opens a file for writing, makes or moves one, or starts a program, where that is not allowed."""
    if event == "open" and isinstance(arguments[2], int) and arguments[2] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT):
        paths: tuple = (arguments[0],)
    elif event in ("os.rename", "os.link", "os.symlink", "os.mkdir", "os.remove", "os.rmdir"):
        paths = arguments[:2]
        if isinstance(arguments[-1], int) and arguments[-1] >= 0:  # a name within an open folder
            paths = (Path(f"/proc/self/fd/{arguments[-1]}").readlink() / os.fsdecode(arguments[0]),)
    else:
        return
    for path in paths:
        if isinstance(path, str | bytes | os.PathLike) and not allowed(os.fsdecode(path)):
            raise AssertionError(f"{event} of {path!r}")


def watch_files(*folders: Path) -> None:
    """From now on, writing to any other place than these folders is a fault."""
    kept = tuple(f"{folder}{os.sep}" for folder in (*folders, "/dev", "/proc"))
    sys.addaudithook(
        lambda event, arguments: check_event(event, arguments, allowed=lambda path: str(Path(path).absolute()).startswith(kept))
    )


def by_chance(name: str, *, count: int, seed: int, current: Path | None = None) -> str:
    """Feed so many inputs made by chance; returns a line with what was done. The input at work stands in `current`, should the process die."""
    from fuzzing.mutate import changed

    target = _target(name)
    rng, pool = random.Random(f"{name} {seed}"), list(target.seeds())  # noqa: S311 - no secret
    seeds, words, slowest_s = tuple(pool), target.words, 0.0
    handle = os.open(current, os.O_RDWR | os.O_CREAT | os.O_TRUNC) if current else -1
    if handle >= 0:
        signal.signal(signal.SIGPROF, signal.SIG_DFL)
        signal.signal(signal.SIGALRM, signal.SIG_DFL)  # ends the process, even within a decoder
    for number in range(count):
        data = pool[number] if number < len(seeds) else changed(rng.choice(pool), rng, seeds=seeds, words=words)
        if handle >= 0:
            os.ftruncate(handle, 0)
            os.pwrite(handle, data, 0)
            # By the processor's time, since other work on the machine is no fault of ours; by the clock only where nothing moves.
            signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
            signal.alarm(LONGEST_STILL_S)
        began = time.perf_counter()
        target.feed(data)
        slowest_s = max(slowest_s, time.perf_counter() - began)
        if current and resource.getrusage(resource.RUSAGE_SELF).ru_maxrss > MOST_MEMORY_KB:
            raise AssertionError("more than 2 GiB of memory")
        # What was changed goes on being changed, and drifts away from the seeds.
        if rng.random() < 0.2 and len(data) > 0:
            pool[rng.randrange(len(seeds), LARGEST_POOL) if len(pool) >= LARGEST_POOL else len(pool) :][:1] = [data]
            pool = [*pool, data] if len(pool) < LARGEST_POOL else pool
    signal.setitimer(signal.ITIMER_PROF, 0)
    signal.alarm(0)
    return f"done {count} slowest_s {slowest_s:.3f} most_mb {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f}"


def guided(name: str, *, count: int, seed: int, out: Path) -> None:
    """Feed so many inputs guided by coverage; never returns."""
    import atheris

    with atheris.instrument_imports(include=list(WATCHED)):
        target = _target(name)
    corpus = out / f"{name}.corpus"
    corpus.mkdir(exist_ok=True)
    for data in target.seeds():
        (corpus / hashlib.sha256(data).hexdigest()[:16]).write_bytes(data)
    words = out / f"{name}.words"
    words.write_text("".join('"{}"\n'.format("".join(f"\\x{byte:02x}" for byte in word[:60])) for word in target.words), encoding="ascii")
    options = [
        f"-runs={count}", f"-seed={seed}", f"-timeout={3 * LONGEST_S}", f"-rss_limit_mb={MOST_MEMORY_KB >> 10}", "-max_len=60000", "-print_final_stats=1",
        f"-artifact_prefix={out}/{name}-", *([f"-dict={words}"] if target.words else []),
    ]  # fmt: skip
    atheris.Setup([sys.argv[0], *options, str(corpus)], lambda data: target.feed(data) and None)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
