"""The record keeps what was entered: nothing changes, nothing is entered twice, and a hand behind its back shows."""

import sqlite3
import threading
from dataclasses import fields

import pytest

from straightband.errors import BadInput, RecordUnreadable
from straightband.shop import database, jobs, telephones
from straightband.shop.copying import check_shop, copy_shop
from straightband.shop.database import NAME, connect, migrations
from straightband.shop.entries import KINDS, Abrasive, FaceEntry, Lamp, Photograph, PieceEntry, Run, Tick
from straightband.shop.folder import open_shop
from straightband.shop.kept_open import KeptOpen
from straightband.shop.record import Form, NotInRecord, json_text

NOW = "2026-03-03T09:41:07Z"


@pytest.fixture
def shop(tmp_path):
    return open_shop(tmp_path / "shop", make=True)


def piece_with_face(record):
    piece = record.add(PieceEntry(at=NOW, name="D-1", told={"shape": "ellipse", "minor": "50mm"}))
    return record.add(FaceEntry(at=NOW, piece_id=piece.id, name="face"))


def test_every_kind_of_entry_has_its_table_with_the_same_columns(shop):
    """The records in entries.py and the tables of the schema name the same things, so that no field is lost on the way."""
    with shop.record() as record:
        for kind in KINDS:
            columns = [row["name"] for row in record.connection.execute(f"PRAGMA table_info({kind.table})")]
            assert sorted(columns) == sorted(each.name for each in fields(kind))


def test_an_entry_comes_back_as_it_went_in(shop):
    """What was told comes back letter for letter, numbers to the last figure."""
    told = {"minor": "2 5/8 in", "remark": "crème, 90″, \U0001f52d", "number": 0.1 + 0.2}
    with shop.record() as record:
        made = record.add(PieceEntry(at=NOW, name="D-1", told=told))
        assert record.get(PieceEntry, made.id) == made
    with shop.record() as again:
        assert again.get(PieceEntry, made.id).told == told


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.table)
@pytest.mark.parametrize("change", ["UPDATE {} SET at = 'x'", "DELETE FROM {}"])
def test_no_entry_can_be_changed_or_taken_out(shop, kind, change):
    """The database itself refuses both for every table of the record, whoever asks."""
    with shop.record() as record:
        record.connection.execute("PRAGMA foreign_keys = OFF")
        names = [
            row["name"] for row in record.connection.execute(f"PRAGMA table_info({kind.table})") if row["name"] not in ("id", "corrects")
        ]
        values = ["{}" if name in ("told", "found", "drawing") else "1" for name in names]
        record.connection.execute(f"INSERT INTO {kind.table} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})", values)  # noqa: S608 - names of our own schema
        with pytest.raises(sqlite3.IntegrityError, match="an entry is never"):
            record.connection.execute(change.format(kind.table))


def test_a_correction_is_a_new_entry_and_the_old_one_stays(shop):
    """The newest correction holds, others go on naming the first, and all versions can be seen."""
    with shop.record() as record:
        first = record.add(Lamp(at=NOW, name="sodium", light="sodium"))
        second = record.add(Lamp(at=NOW, name="sodium lamp", light="sodium", corrects=first.id))
        third = record.add(Lamp(at=NOW, name="the sodium lamp", light="589.3nm", corrects=first.id))
        other = record.add(Lamp(at=NOW, name="green", light="546.1nm"))
        assert record.current(Lamp, first.id) == third
        assert third.root == first.id
        assert record.listing(Lamp) == (third, other)
        assert record.versions(Lamp, first.id) == (first, second, third)


def test_a_form_sent_twice_enters_once(shop):
    """The second time leads to the entry of the first; with something else in it, it is refused in one sentence."""
    form = Form(token="t-1", digest="d")
    with shop.record() as record:
        first = record.once(form, lambda: record.add(Abrasive(at=NOW, name="fine", grain_um=5.0)))
        again = record.once(form, lambda: record.add(Abrasive(at=NOW, name="fine", grain_um=5.0)))
        assert again == first
        assert record.count(Abrasive) == 1
        with pytest.raises(BadInput) as refusal:
            record.once(Form(token="t-1", digest="other"), lambda: record.add(Abrasive(at=NOW, name="x", grain_um=9.0)))
        assert str(refusal.value) == (
            "this form was sent before with something else in it; an entry stays as it was made; "
            "open the entry, and enter what you changed as a correction."
        )
        assert record.count(Abrasive) == 1


def test_a_form_sent_from_many_threads_at_once_enters_once(shop):
    """Eight threads sending the same form at the same moment make one entry, and all are told its number."""
    barrier, numbers = threading.Barrier(8), []

    def send():
        barrier.wait()
        with shop.record() as record:
            numbers.append(record.once(Form(token="t", digest="d"), lambda: record.add(Lamp(at=NOW, name="a", light="sodium"))))

    threads = [threading.Thread(target=send) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert set(numbers) == {("lamp", 1)}
    assert len(numbers) == 8
    assert check_shop(shop).faults == ()


def test_all_or_nothing(shop):
    """An entry that fails halfway leaves nothing behind, neither itself nor its form."""
    form = Form(token="t", digest="d")

    def fails(record):
        record.add(Lamp(at=NOW, name="a", light="sodium"))
        raise BadInput(found="a", needed="b", remedy="c")

    with shop.record() as record:
        with pytest.raises(BadInput):
            record.once(form, lambda: fails(record))
        assert record.count(Lamp) == 0
        assert record.sent_before(form) is None


def test_an_entry_must_name_what_is_there(shop):
    """A run on a face that is not in the record is refused by the database, in a sentence."""
    with shop.record() as record, pytest.raises(NotInRecord, match="names something that is not in the record"):
        record.add(Run(at=NOW, face_id=7, work="grinding", minutes=5.0))


def test_what_is_not_there_is_refused_in_a_sentence(shop):
    """Asking for an entry that was never made says so."""
    with shop.record() as record, pytest.raises(NotInRecord, match="there is no lamp of number 9"):
        record.get(Lamp, 9)


def test_json_of_the_record_has_no_nan_and_one_order():
    """The same facts give the same text, and what is not known is null, as in `--json`."""
    assert json_text({"b": float("nan"), "a": [1.5, float("inf")]}) == '{"a": [1.5, null], "b": null}'


def test_the_same_photograph_is_kept_once(shop):
    """Bytes are kept under their SHA-256 (FIPS 180-4; the value for 'abc' is that of its example)."""
    sha256 = shop.photos.keep(b"abc")
    assert sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert shop.photos.keep(b"abc") == sha256
    assert list(shop.photos.names()) == [sha256]
    assert shop.photos.read(sha256) == b"abc"


def test_a_file_that_changed_is_not_handed_out(shop):
    """A photograph whose bytes no longer fit its name is refused rather than shown."""
    sha256 = shop.photos.keep(b"abc")
    shop.photos.place(sha256).write_bytes(b"abd")
    with pytest.raises(RecordUnreadable, match="no longer has the bytes it was kept with"):
        shop.photos.read(sha256)


@pytest.mark.parametrize("name", ["../shop.db", "", "A" * 64, "g" * 64])
def test_only_hashes_name_files(shop, name):
    """No name leads out of the archive."""
    with pytest.raises(RecordUnreadable, match="is no name of a kept file"):
        shop.photos.place(name)


def filled(shop):
    with shop.record() as record:
        face = piece_with_face(record)
        sha256 = shop.photos.keep(b"a photograph")
        record.add(Photograph(at=NOW, face_id=face.id, sha256=sha256, name="a.jpg", bytes=12))
        record.add(Lamp(at=NOW, name="sodium", light="sodium"))
    return sha256


def test_a_whole_folder_is_vouched_for(shop):
    """Nothing is found amiss in a folder as it was left."""
    filled(shop)
    checked = check_shop(shop)
    assert (checked.entries, checked.files, checked.faults, checked.unnamed) == (4, 1, (), 0)


def tampered(shop, statements):
    connection = sqlite3.connect(shop.folder / NAME)
    connection.executescript(statements)
    connection.close()


TRIGGER = "DROP TRIGGER lamp_never_changed; UPDATE lamp SET light = '546nm';"
PUT_BACK = "CREATE TRIGGER lamp_never_changed BEFORE UPDATE ON lamp BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;"


@pytest.mark.parametrize(
    ("harm", "fault"),
    [
        (lambda shop, sha: shop.photos.place(sha).write_bytes(b"x"), "no longer has the bytes it was kept with"),
        (lambda shop, sha: shop.photos.place(sha).unlink(), "is named by the record and is not there"),
        (lambda shop, _: tampered(shop, TRIGGER + PUT_BACK), "entry 1 of 'lamp' is not as it was sealed"),
        (lambda shop, _: tampered(shop, "DROP TRIGGER run_never_changed;"), "the schema is not the one this program made"),
        (
            lambda shop, _: tampered(shop, "INSERT INTO lamp (at, name, light) VALUES ('x', 'y', 'z');"),
            "entry 2 of 'lamp' was never sealed",
        ),
        (
            lambda shop, _: tampered(shop, "DROP TRIGGER lamp_never_taken_out; DELETE FROM lamp;"),
            "entry 1 of 'lamp' is not as it was sealed",
        ),
    ],
    ids=["photograph changed", "photograph gone", "entry changed", "guard taken away", "entry slipped in", "entry taken out"],
)
def test_harm_behind_the_back_is_found(shop, harm, fault):
    """Each way to falsify a folder shows in the check."""
    harm(shop, filled(shop))
    assert any(fault in each for each in check_shop(shop).faults)


def test_a_copy_holds_what_is_still_in_the_log(shop, tmp_path):
    """A copy made while another connection is open holds the newest entries; SQLite's own file alone would lack them."""
    writer = connect(shop.folder / NAME)
    filled(shop)
    checked = copy_shop(shop, tmp_path / "copy")
    writer.close()
    copy = open_shop(tmp_path / "copy")
    assert checked.faults == ()
    with copy.record() as record:
        assert record.count(Photograph) == 1
        assert copy.photos.read(record.get(Photograph, 1).sha256) == b"a photograph"


def test_a_copy_never_covers_another(shop, tmp_path):
    """A folder that is there is refused, and nothing half made stays behind."""
    (tmp_path / "copy").mkdir()
    with pytest.raises(BadInput, match="is there already"):
        copy_shop(shop, tmp_path / "copy")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["copy", "shop"]


def test_a_folder_of_other_things_is_left_alone(tmp_path):
    """A shop is not made among other files, nor found where none is."""
    (tmp_path / "letter.txt").write_text("dear")
    with pytest.raises(BadInput, match="holds other files and no shop"):
        open_shop(tmp_path, make=True)
    with pytest.raises(BadInput, match="there is no shop in"):
        open_shop(tmp_path)


def test_a_newer_record_is_refused(shop):
    """A record with a schema that this program does not know is not touched."""
    tampered(shop, "PRAGMA user_version = 99;")
    with pytest.raises(RecordUnreadable, match=r"newer Straightband \(schema 99\)"):
        open_shop(shop.folder)


def test_a_file_that_is_no_database_is_refused(tmp_path):
    """A shop.db of other bytes gives a sentence."""
    (tmp_path / NAME).write_bytes(b"this is no database, and long enough to be read as one" * 20)
    with pytest.raises(RecordUnreadable, match="can't be opened as a record"):
        open_shop(tmp_path)


def test_schema_files_are_numbered_without_gaps():
    """Schema files run 1, 2, 3, ..., so that none is left out."""
    assert [number for number, _ in migrations()] == list(range(1, len(migrations()) + 1))


def test_an_older_record_is_brought_up_to_date_with_a_copy_kept(tmp_path, monkeypatch):
    """A record with the first schema gets the tables of the later ones, keeps its entries, and a copy of it as it was lies beside it."""
    first = migrations()[:1]
    with monkeypatch.context() as patch:
        patch.setattr(database, "migrations", lambda: first)
        old = open_shop(tmp_path / "shop", make=True)
        with old.record() as record:
            record.add(Lamp(at=NOW, name="sodium", light="sodium"))
            assert record.connection.execute("PRAGMA user_version").fetchone()[0] == 1
    new = open_shop(tmp_path / "shop")
    with new.record() as record:
        assert record.count(Tick) == 0
        assert record.get(Lamp, 1).light == "sodium"
    assert check_shop(new).faults == ()
    newest = migrations()[-1][0]
    with sqlite3.connect(tmp_path / "shop" / f"shop-before-schema-{newest}.db") as copy:
        assert copy.execute("SELECT name FROM lamp").fetchall() == [("sodium",)]
    copy.close()


def test_jobs_are_taken_once_and_end_once(shop):
    """A job is handed to one worker, the same form asks once, and what has ended stays ended."""
    with shop.record() as record:
        job = jobs.ask_for(record, "read", told={"photographs": [1]}, now=NOW, form=Form(token="t", digest="d"))
        assert jobs.ask_for(record, "read", told={"photographs": [1]}, now=NOW, form=Form(token="t", digest="d")).id == job.id
        taken = jobs.take_next(record)
        assert (taken.id, taken.state, taken.told) == (job.id, "running", {"photographs": [1]})
        assert jobs.take_next(record) is None
        jobs.tell_stage(record, job.id, stage="looking")
        assert jobs.end(record, job.id, state="stopped")
        assert not jobs.end(record, job.id, state="done", leads_to="/readings/1")
        assert jobs.job_of(record, job.id).state == "stopped"


def test_telephones_are_known_by_hash_and_for_a_time(shop):
    """The cookie itself is nowhere in the folder, and ends with its time or when it is forgotten."""
    with shop.record() as record:
        telephones.know(record, "secret-cookie", name="telephone", now=NOW, until="2026-06-01T00:00:00Z")
        assert telephones.is_known(record, "secret-cookie", now=NOW)
        assert not telephones.is_known(record, "other", now=NOW)
        assert not telephones.is_known(record, "secret-cookie", now="2026-06-02T00:00:00Z")
        telephones.forget(record, telephones.telephones(record, now=NOW)[0].id)
        assert not telephones.is_known(record, "secret-cookie", now=NOW)
    assert all(b"secret-cookie" not in path.read_bytes() for path in shop.folder.rglob("*") if path.is_file())


def test_a_record_kept_open_sees_what_others_enter_and_another_file_in_its_place(tmp_path):
    """A connection that is used again shows the newest entries; where another record was put in the place of the file, that one; a fault is not carried on."""
    shop = open_shop(tmp_path / "shop", make=True)
    kept = KeptOpen(folder=shop.folder)
    with kept.record() as record:
        assert record.count(Lamp) == 0
    with shop.record() as record:
        record.add(Lamp(at=NOW, name="sodium", light="sodium"))
    with kept.record() as record:
        assert record.count(Lamp) == 1
    with pytest.raises(sqlite3.OperationalError), kept.record() as record:
        record.connection.executescript("BEGIN IMMEDIATE; nonsense")
    with shop.record() as record:  # the writer's lock was given back
        record.add(Lamp(at=NOW, name="green", light="546nm"))
    other = open_shop(tmp_path / "other", make=True)
    (other.folder / NAME).replace(shop.folder / NAME)
    with kept.record() as record:
        assert record.count(Lamp) == 0
    kept.close()
    assert kept.idle.empty()
