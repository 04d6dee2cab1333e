"""The rules of the house that a reader relies on: which room imports which, and what a function may look like."""

import ast
import itertools
import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "src" / "straightband"
LONGEST_BODY = 60
MOST_BY_POSITION = 2
# Opening files and connections is left to the rooms above the computation; these modules are how it would be done.
PURE = {"pathlib.PurePath", "pathlib.PurePosixPath"}  # These only take names apart.
OPENERS = {"ftplib", "glob", "http", "pathlib", "shutil", "socket", "sqlite3", "subprocess", "tempfile", "urllib"}


def _modules():
    return sorted(PACKAGE.rglob("*.py"))


def _named(path):
    return path.relative_to(ROOT).as_posix()


def _functions(tree):
    return (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))


def _rows():
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"]["contracts"]
    rows = next(contract["layers"] for contract in contracts if contract["type"] == "layers")
    return [[room.strip("() ") for room in row.split("|")] for row in rows]


def _computation_rooms():
    """Return the rooms below pictures and shop: they only compute."""
    rows = _rows()
    below = next(number for number, row in enumerate(rows) if "plots" in row) + 1
    return set(itertools.chain.from_iterable(rows[below:]))


def _room(path):
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def _imported_by(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield from ((f"{node.module}.{alias.name}", node.lineno) for alias in node.names)


def _lint_imports(folder, *, source):
    return subprocess.run(
        [Path(sys.executable).parent / "lint-imports", "--no-cache", "--config", folder / "pyproject.toml"],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(source), "PYTHONUTF8": "1"},
        capture_output=True,
        text=True,
        check=False,
    )


def test_import_contracts_are_kept():
    """Every contract on imports holds for the package as it stands."""
    result = _lint_imports(ROOT, source=ROOT / "src")
    assert result.returncode == 0, result.stdout + result.stderr


@pytest.mark.parametrize(
    ("planted", "code", "contract"),
    [
        ("light/planted.py", "import straightband.workflows", "Rooms import downwards only BROKEN"),
        ("light/planted.py", "def draw():\n    import matplotlib.pyplot", "each have one room BROKEN"),
        ("photo/planted.py", "import sqlite3", "each have one room BROKEN"),
        ("shelf/__init__.py", "", "Rooms import downwards only BROKEN"),
    ],
    ids=["upward", "drawing inside a function", "database below the shop", "room not placed"],
)
def test_a_breach_of_the_import_contracts_is_found(tmp_path, planted, code, contract):
    """The contracts bite: a breach planted in a copy of the package turns them red."""
    copy = tmp_path / "src" / "straightband"
    shutil.copytree(PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    for room in ("light", "photo", "workflows"):
        (copy / room).mkdir(exist_ok=True)
        (copy / room / "__init__.py").touch()
    (copy / planted).parent.mkdir(exist_ok=True)
    (copy / planted).write_text(code, encoding="utf-8")
    result = _lint_imports(tmp_path, source=tmp_path / "src")
    assert result.returncode == 1, result.stdout + result.stderr
    assert contract in " ".join(result.stdout.split())


def test_cli_and_web_reach_the_computation_only_through_workflows():
    """A command or a page asks a workflow; it never calls on the reader, the photo or the verdict by itself."""
    rows = _rows()
    nouns = {"heightmap", "face", "light"} | set(itertools.chain.from_iterable(rows[-2:]))
    kept_away = {f"straightband.{room}" for room in _computation_rooms() - nouns}
    breaches = [
        f"{_named(path)}:{line} imports {name}"
        for path in _modules()
        if _room(path) in {"cli", "web"}
        for name, line in _imported_by(ast.parse(path.read_text(encoding="utf-8")))
        if ".".join(name.split(".")[:2]) in kept_away
    ]
    assert breaches == []


def test_the_computation_opens_nothing():
    """Values in, values out: no room of the computation opens a file, starts a program or connects."""
    breaches = []
    for path in _modules():
        if _room(path) not in _computation_rooms():
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        imported = ((name, line) for name, line in _imported_by(tree) if name not in PURE)
        breaches += [f"{_named(path)}:{line} imports {name}" for name, line in imported if name.split(".")[0] in OPENERS]
        calls = (node for node in ast.walk(tree) if isinstance(node, ast.Call) and isinstance(node.func, ast.Name))
        breaches += [f"{_named(path)}:{call.lineno} calls open" for call in calls if call.func.id == "open"]
    assert breaches == []


def test_every_module_says_what_it_is_for():
    """A reader finds a docstring at the top of every module."""
    silent = [_named(path) for path in _modules() if not ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))]
    assert silent == []


def test_no_function_body_is_longer_than_a_screen():
    """No function body, its docstring aside, exceeds 60 lines."""
    long_ones = []
    for path in _modules():
        for function in _functions(ast.parse(path.read_text(encoding="utf-8"))):
            body = function.body[1:] if ast.get_docstring(function) is not None else function.body
            length = body[-1].end_lineno - body[0].lineno + 1 if body else 0
            if length > LONGEST_BODY:
                long_ones.append(f"{_named(path)}: {function.name} has {length} lines")
    assert long_ones == []


def test_public_functions_take_two_arguments_by_position_at_most():
    """Past two arguments the caller writes their names, so that two numbers cannot be swapped unseen."""
    too_many = []
    for path in _modules():
        for function in _functions(ast.parse(path.read_text(encoding="utf-8"))):
            names = [argument.arg for argument in (*function.args.posonlyargs, *function.args.args)]
            count = len([name for name in names if name not in {"self", "cls"}])
            if count > MOST_BY_POSITION and not function.name.startswith("_"):
                too_many.append(f"{_named(path)}: {function.name} takes {count}")
    assert too_many == []


def test_every_test_states_its_promise():
    """Each test has a docstring of one sentence, so that a red test says what was promised."""
    silent = [
        f"{_named(path)}: {function.name}"
        for path in sorted((ROOT / "tests").rglob("test_*.py"))
        for function in _functions(ast.parse(path.read_text(encoding="utf-8")))
        if function.name.startswith("test_") and not ast.get_docstring(function)
    ]
    assert silent == []
