"""Writing to disk: whole or not at all, and refused in one sentence."""

import errno
import os
import re

import pytest

from straightband.errors import BadInput
from straightband.shop.files import write_whole


def test_a_file_is_written_and_written_over(tmp_path):
    """The bytes are there under their name, a second writing takes the place of the first, and nothing else is left."""
    write_whole(tmp_path / "map.npz", b"first")
    write_whole(tmp_path / "map.npz", b"second")
    assert (tmp_path / "map.npz").read_bytes() == b"second"
    assert [file.name for file in tmp_path.iterdir()] == ["map.npz"]


def test_the_bytes_are_on_the_disk_before_they_get_the_name(tmp_path, monkeypatch):
    """Synced first, renamed second: at the sync the name still shows the old file."""
    target, seen = tmp_path / "map.npz", []
    target.write_bytes(b"old")
    sync = os.fsync
    monkeypatch.setattr(os, "fsync", lambda handle: (seen.append(target.read_bytes()), sync(handle)))
    write_whole(target, b"new")
    assert seen == [b"old", b"new"]  # the file before the rename, the folder after it


def test_a_full_disk_leaves_the_old_file_and_no_other(tmp_path, monkeypatch):
    """When the disk fails half way, the old file stands, nothing half-written stays, and the sentence says why."""
    (tmp_path / "map.npz").write_bytes(b"old")

    def fail(_handle):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(BadInput) as caught:
        write_whole(tmp_path / "map.npz", b"new")
    assert str(caught.value) == (
        f"'map.npz' could not be written to '{tmp_path}' (No space left on device); "
        "a name of sensible length in a folder with room that you may write to is needed; name another, or make room."
    )
    assert [(file.name, file.read_bytes()) for file in tmp_path.iterdir()] == [("map.npz", b"old")]


def test_a_missing_folder_is_not_made(tmp_path):
    """A mistyped folder is refused by name rather than created."""
    with pytest.raises(BadInput) as caught:
        write_whole(tmp_path / "shelf" / "map.npz", b"")
    assert str(caught.value) == (
        f"'map.npz' was to be written to the folder '{tmp_path / 'shelf'}', which does not exist; "
        "a folder that exists is needed; make the folder, or name another."
    )
    assert list(tmp_path.iterdir()) == []


def test_a_folder_is_no_name_for_a_file(tmp_path):
    """A folder given where a file's name belongs is refused and left alone."""
    with pytest.raises(BadInput, match=f"^{re.escape(repr(str(tmp_path)))} is a folder; a name for a file is needed; "):
        write_whole(tmp_path, b"")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["m" * 300, "a\0b"], ids=["300 letters", "a zero byte"])
def test_a_name_that_no_disk_takes_is_refused(tmp_path, name):
    """A name too long, or with a zero byte in it, is a sentence too and leaves nothing behind."""
    with pytest.raises(BadInput, match=r" could not be written to .*; a name of sensible length in a folder"):
        write_whole(tmp_path / name, b"")
    assert list(tmp_path.iterdir()) == []
