"""What is shipped and how it is installed: version, types, entry points and the locks."""

import importlib.metadata
import importlib.util
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import straightband

ROOT = Path(__file__).resolve().parent.parent
LOCKS = ("uv.txt", "run.txt", "dev.txt")
PIN = "numpy==2.4.6 \\\n    --hash=sha256:" + "0" * 64 + "\n"


@pytest.fixture(scope="module")
def check_lock():
    """Return scripts/check_lock.py as a module; it is a program and not part of the package."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(ROOT / "scripts"))
        spec = importlib.util.spec_from_file_location("check_lock", ROOT / "scripts" / "check_lock.py")
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
    return module


def _tracked_files():
    if not (ROOT / ".git").exists() or shutil.which("git") is None:
        pytest.skip("not a git working copy")
    listing = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    return [ROOT / name for name in listing.split("\0") if name]


def test_installed_version_is_the_written_one():
    """The version the installer knows is the one in the package, so a certificate names the right program."""
    assert importlib.metadata.version("straightband") == straightband.__version__


def test_version_has_its_entry_in_the_changelog():
    """A released version is described; before its release the changes stand under Unreleased."""
    changelog = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    assert re.search(rf"^## \[(Unreleased|{re.escape(straightband.__version__)})\]", changelog, flags=re.MULTILINE)


def test_types_are_shipped():
    """py.typed lies beside the package, so that a type checker of a user reads our annotations."""
    assert (Path(straightband.__file__).parent / "py.typed").is_file()


def test_command_is_installed():
    """The straightband command leads to the main function of the command line."""
    (command,) = importlib.metadata.entry_points(group="console_scripts", name="straightband")
    assert command.value == "straightband.cli:main"


def test_importing_the_package_loads_nothing_else():
    """The package's own __init__ imports no other module, which keeps start-up short."""
    code = "import sys; before = set(sys.modules); import straightband; print(sorted(set(sys.modules) - before))"
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert result.stdout.strip() == "['straightband']"


@pytest.mark.parametrize("name", LOCKS)
def test_locks_hold_pinned_hashed_packages_only(name, check_lock):
    """Every line of a lock is a pin or its hash, and the pins meet pyproject.toml: no address, no path, no option."""
    assert check_lock.faults_in(ROOT / "requirements" / name) == []


@pytest.mark.parametrize(
    "planted",
    [
        "--index-url https://packages.invalid/simple\n",
        "--find-links wheels\n",
        "numpy @ file:///wheels/numpy.whl\n",
        "# from packages.invalid\n",
        "numpy==2.4.6\n",
        "numpy>=2 \\\n    --hash=sha256:" + "0" * 64 + "\n",
        "numpy==2.4.6 ; sys_platform == 'packages/simple' \\\n    --hash=sha256:" + "0" * 64 + "\n",
        "numpy==2.4.6 \\\n",
        "numpy==2.5.5 \\\n    --hash=sha256:" + "0" * 64 + "\n",
    ],
    ids=["index", "folder", "path", "comment", "no hash", "not pinned", "address in a marker", "cut off", "twice"],
)
@pytest.mark.parametrize("text", ["{planted}" + PIN, PIN + "{planted}"], ids=["before", "after"])
def test_lock_check_finds_what_must_not_be_there(planted, text, check_lock):
    """The guard of the locks bites on each thing it is there for."""
    assert check_lock.faults_in_form(PIN) == []
    assert check_lock.faults_in_form(text.format(planted=planted)) != []


def test_lock_check_finds_a_lock_that_was_left_behind(check_lock):
    """A requirement that was raised without locking anew is named."""
    assert check_lock.faults_in_fit(["numpy>=3"], {"numpy": "2.4.6"}) == ["numpy>=3 is asked for and 2.4.6 is locked; run make lock"]
    assert check_lock.faults_in_fit(["Other_Name"], {}) == ["Other_Name is asked for and nothing is locked; run make lock"]
    assert check_lock.faults_in_fit(["numpy>=2"], {"numpy": "2.4.6"}) == []


def test_no_file_names_the_package_index():
    """Where packages come from is the machine's affair: no tracked file names the index that pip uses."""
    pip = subprocess.run(
        [getattr(sys, "_base_executable", sys.executable), "-m", "pip", "install", "--help"], capture_output=True, text=True, check=False
    )
    hosts = {host.encode() for host in re.findall(r"https://([\w.-]+)/", pip.stdout)}
    if not hosts:
        pytest.skip("pip does not say which index it uses")
    naming = [str(path) for path in _tracked_files() if path.is_file() and any(host in path.read_bytes() for host in hosts)]
    assert naming == []


def test_lock_formats_that_write_addresses_are_not_tracked():
    """uv.lock and pylock.toml name the index on every line and stay out of the repository."""
    assert [path.name for path in _tracked_files() if re.fullmatch(r"uv\.lock|pylock.*\.toml", path.name)] == []


def test_every_supported_python_is_the_one_declared():
    """The oldest Python that set-up accepts is the one the package asks for."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    setup = (ROOT / "scripts" / "setup.py").read_text(encoding="utf-8")
    major, minor = project["project"]["requires-python"].removeprefix(">=").split(".")
    assert f"OLDEST_PYTHON = ({major}, {minor})" in setup
