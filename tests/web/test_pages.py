"""Pages without a browser: what they say is what the commands say, forms enter once, and refusals stand beside them."""

import ast
import dataclasses
import importlib
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from jinja2 import meta, nodes

from straightband.errors import BadInput
from straightband.heightmap.figures import without_tilt
from straightband.shop import jobs
from straightband.shop.entries import (
    KINDS,
    Batch,
    Flat,
    GaugingEntry,
    GridPhotograph,
    LapEntry,
    Ordered,
    Photograph,
    PieceEntry,
    PricesEntry,
    ReadingEntry,
    Run,
    StrokePlanEntry,
    StrokeStart,
    Tick,
    Timer,
    VerdictEntry,
)
from straightband.verdict import flags as verdict_flags
from straightband.web import app as bench
from straightband.web.frame import Frame, Page, templates
from straightband.workflows import (
    box_report,
    clear_report,
    flags,
    gauge_report,
    order_report,
    pads_report,
    plan_report,
    strokes_report,
    threeflat_report,
)
from straightband.workflows.map_stream import NOTHING, map_stream
from straightband.workflows.maps import map_file
from straightband.workflows.shop_batches import tick_runs
from straightband.workflows.shop_certificates import certify_for_the_record
from straightband.workflows.shop_orders import enter_piece
from straightband.workflows.shop_readings import reading_map
from straightband.workflows.shop_recompute import reading_again
from straightband.workflows.shop_today import planned_step
from straightband.workflows.shown import length_shown, sentence_shown
from straightband.workflows.stroke_rows import before_and_after
from straightband.workflows.stroke_rows import rate_rows as rate_words

PAGES_FOLDER = Path(bench.__file__).parent / "pages"
LOOKED_AT = (
    "/", "/orders", "/orders/new", "/orders/1", "/orders/1/correct", "/pieces", "/pieces/1", "/pieces/2", "/pieces/1/gauge", "/gaugings/1", "/gaugings/1/correct",
    "/pieces/1/photograph", "/photographs/1", "/readings/1", "/verdicts/1", "/certificates/1", "/batches", "/batches/1", "/flats", "/shop", "/telephones", "/patterns", "/pair",
    "/pieces/1/back", "/pieces/2/back", "/pads", "/pads?plate=1", "/pads/1", "/box", "/box?largest=200mm", "/flats/tests/new", "/flats/tests/1",
    "/pieces/1/correct", "/pieces/1/figuring", "/pieces/2/figuring", "/strokes/1",
)  # fmt: skip
TOKEN = re.compile(r'name="token" value="([\w-]+)"')


def page_classes():
    for path in sorted(PAGES_FOLDER.glob("*.py")):
        module = importlib.import_module(f"straightband.web.pages.{path.stem}")
        for thing in vars(module).values():
            if isinstance(thing, type) and issubclass(thing, Page) and thing is not Page and thing.__module__ == module.__name__:
                yield thing


def names_asked_of(template, variable):
    """Attributes of a variable that a template and what it includes asks for."""
    environment = templates()
    source = environment.loader.get_source(environment, template)[0]
    tree = environment.parse(source)
    found = {node.attr for node in tree.find_all(nodes.Getattr) if isinstance(node.node, nodes.Name) and node.node.name == variable}
    for other in meta.find_referenced_templates(tree):
        if other not in (None, "parts.html"):
            found |= names_asked_of(other, variable)
    return found


def seen(client, path):
    answer = client.get(path)
    assert answer.status_code == 200, answer.text
    return answer.text


def token_on(client, path, form="entry"):
    return TOKEN.search(seen(client, path).split(f'class="{form}"')[1])[1]


@pytest.mark.parametrize("path", LOOKED_AT)
def test_every_page_answers(client, path):
    """Each page of a filled shop is rendered whole, with one heading of its own and nothing undefined."""
    text = seen(client, path)
    assert len(re.findall(r"<h1>", text)) == 1
    assert text.rstrip().endswith("</html>")


@pytest.mark.parametrize("kind", list(page_classes()), ids=lambda kind: kind.__name__)
def test_a_page_has_what_its_template_asks_for_and_no_more(kind):
    """The fields of each page's dataclass are those that its template uses: nothing is computed for nobody, nothing is missing."""
    asked = names_asked_of(kind.template, "page")
    assert asked == {field.name for field in dataclasses.fields(kind)}
    assert names_asked_of(kind.template, "frame") <= {field.name for field in dataclasses.fields(Frame)}


# All that is reckoned with in the web room: rows and leaves that are counted, and clocks. Nothing of it is a number of the craft.
RECKONED = {
    "app.py: COOKIE_DAYS * 86400", "app.py: COOKIE_DAYS * 1440.0", "routes.py: 365 * 86400", "worker.py: MOST_SECONDS / 60", "worker.py: MOST_SECONDS / 60 is formatted",
    "intake.py: self.most_seconds is formatted",
    "pages/flats.py: MOST_PAIRS + 1", "pages/orders.py: count + 1", "pages/pieces.py: leaf - 1", "pages/pieces.py: leaf + 1",
}  # fmt: skip
COUNTS = ast.Add | ast.Sub  # which outside the pages bytes, ports and seconds may do as they like
COMPUTES = ast.Mult | ast.Div | ast.FloorDiv | ast.Mod | ast.Pow | ast.Add | ast.Sub | ast.MatMult


def computed_in(source, *, page):
    """Every product, rounding and formatting of a number in a file of Python, of a page every sum too; lists that are added to are none."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.BinOp | ast.AugAssign) and isinstance(node.op, COMPUTES) and (page or not isinstance(node.op, COUNTS)):
            value = node.value if isinstance(node, ast.AugAssign) else node.right
            if not isinstance(value, ast.List | ast.ListComp | ast.Tuple | ast.IfExp) and ".files(" not in ast.unparse(node):
                yield ast.unparse(node)
        if isinstance(node, ast.FormattedValue) and node.format_spec is not None:
            yield f"{ast.unparse(node.value)} is formatted"
        called = node.func.id if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) else ""
        if called in ("round", "divmod", "pow") or (page and called in ("sum", "abs")):
            yield ast.unparse(node)


def test_pages_and_templates_hold_no_arithmetic():
    """Nothing in the web room computes, rounds or formats a number of the craft, and no template computes: strings come ready from the workflows."""
    web = PAGES_FOLDER.parent
    found = {
        f"{path.relative_to(web).as_posix()}: {each}"
        for path in web.rglob("*.py")
        for each in computed_in(path.read_text(encoding="utf-8"), page=path.parent == PAGES_FOLDER)
    }
    assert found == RECKONED
    environment, breaches = templates(), []
    for name in environment.list_templates():
        tree = environment.parse(environment.loader.get_source(environment, name)[0])
        kinds = (nodes.Add, nodes.Mul, nodes.Div, nodes.FloorDiv, nodes.Mod, nodes.Pow, nodes.Sub, nodes.Neg)
        breaches += [f"{name}:{node.lineno} computes" for kind in kinds for node in tree.find_all(kind)]
        breaches += [f"{name}:{node.lineno} {node.name}" for node in tree.find_all(nodes.Filter) if node.name not in ("safe", "replace")]
    assert breaches == []


def test_the_map_on_the_screen_is_the_map(client, shop):
    """The numbers sent to the screen give the heights back to half a tenth of a nanometre, and nothing off the face."""
    with shop.record() as record:
        height_map = reading_map(shop, record.get(ReadingEntry, 1))
    stream = map_stream(height_map)
    sent = np.frombuffer(client.get("/readings/1/heights").content, dtype="<i2").reshape(2, stream.rows, stream.columns)
    whole = np.cumsum(sent.astype(np.int64), axis=1).astype(np.int16)
    thin = len(height_map.u_mm) // stream.columns + (len(height_map.u_mm) % stream.columns > 0)
    level = without_tilt(height_map)
    true = np.where(level.valid, level.heights_nm, np.nan)[::thin, ::thin]
    assert ((whole[0] == NOTHING) == np.isnan(true)).all()
    known = np.isfinite(true)
    assert np.abs(whole[0][known] * stream.step_nm - true[known]).max() <= 0.05 + 1e-9  # half a step
    assert len(client.get("/readings/1/heights").content) < 160_000  # before packing


def test_lengths_are_shown_in_inches_when_asked(client):
    """The switch is kept by the browser, leads back to where it was pressed, and changes lengths everywhere."""
    assert "300.00 mm" in seen(client, "/orders/1")
    answer = client.post("/units", data={"units": "in"}, headers={"Referer": "http://127.0.0.1/orders/1"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/orders/1")
    assert "11.811 in" in seen(client, "/orders/1")
    assert length_shown(300.0, "in") == "11.811 in"


ORDER = {"name": "N-1", "aperture": "12in", "focal_ratio": "5", "intercept": "10in", "full_field": "0.5in"}


def test_an_order_sent_twice_is_entered_once(client, shop):
    """Double click, reload and back all send the same form again; it leads to the entry it made."""
    sent = ORDER | {"token": token_on(client, "/orders/new")}
    first, again = client.post("/orders/new", data=sent), client.post("/orders/new", data=sent)
    assert (first.status_code, first.headers["location"]) == (303, "/orders/2")
    assert again.headers["location"] == "/orders/2"
    with shop.record() as record:
        assert record.count(Ordered) == 2
    other = client.post("/orders/new", data=sent | {"name": "N-2"})
    assert other.status_code == 422
    assert "This form was sent before with something else in it" in other.text


def test_a_refused_form_comes_back_filled_with_its_sentence(client, shop):
    """Status 422, the sentence in an alert, what was typed still there, nothing entered; and one shape in JSON."""
    sent = ORDER | {"aperture": "12"}
    answer = client.post("/orders/new", data=sent)
    assert answer.status_code == 422
    assert re.search(
        r'<p class="refused" role="alert">The aperture was given as &#39;12&#39; without a unit; one of .* is needed;', answer.text
    )
    assert 'value="10in"' in answer.text
    as_json = client.post("/orders/new", data=sent, headers={"Accept": "application/json"})
    assert as_json.status_code == 422
    assert sorted(as_json.json()["error"]) == ["found", "needed", "remedy", "sentence"]
    with shop.record() as record:
        assert record.count(Ordered) == 1


def test_an_order_is_drawn_before_it_is_entered(client, shop):
    """The draft holds drawing and sizes, says what is wrong in a sentence, and enters nothing."""
    draft = client.get("/orders/draft", params=ORDER).text
    assert "<svg" in draft
    assert "What to make" in draft
    assert "without a unit" in client.get("/orders/draft", params=ORDER | {"intercept": "10"}).text
    assert "<svg" in client.get("/orders/new", params=ORDER).text  # which is how it is looked at without a script
    with shop.record() as record:
        assert record.count(Ordered) == 1


def test_a_correction_leaves_the_first_entry(client, shop):
    """The corrected order holds under its old address; the form begins with what was entered."""
    assert 'value="300mm"' in seen(client, "/orders/1/correct")
    answer = client.post(
        "/orders/1/correct", data={"name": "G-1", "customer": "order 7"} | {key: value for key, value in ORDER.items() if key != "name"}
    )
    assert answer.headers["location"] == "/orders/1"
    assert "Corrected; entered first on 3 March 2026." in seen(client, "/orders/1")
    with shop.record() as record:
        assert record.get(Ordered, 1).customer == ""


def test_a_gauging_is_corrected(client, shop):
    """The correction is shown under the old address, its trend told against the one before; the first entry stays as it was."""
    assert 'value="12.4um,12.6um,12.5um"' in seen(client, "/gaugings/2/correct")
    sent = {"leg_circle": "40mm", "reading": "11.4um", "zero": "11.0um,11.1um", "after_abrasive": "10um"}
    assert client.post("/gaugings/2/correct", data=sent).headers["location"] == "/gaugings/2"
    assert "11.4um" in seen(client, "/gaugings/2")
    with shop.record() as record:
        assert record.get(GaugingEntry, 2).told["reading"] == "12.4um,12.6um,12.5um"
        new = record.current(GaugingEntry, 2)
        assert new.found["earlier"] == [{"abrasive_um": 20.0, "sag_um": record.get(GaugingEntry, 1).found["sag_um"]}]
        assert len(record.listing(GaugingEntry, face_id=1)) == 2


def test_work_on_a_piece_is_entered(client, shop):
    """Piece, run, gauging, cost, timer and its stop: each form leads on and makes its entry."""
    assert client.post("/orders/1", data={"name": "G-3", "minor": "90mm"}).headers["location"] == "/pieces/3"
    assert client.post("/pieces", data={"name": "G-4", "shape": "round", "diameter": "4in"}).headers["location"] == "/pieces/4"
    assert client.post("/pieces/3/run", data={"work": "polishing", "minutes": "20min", "pad": "1"}).status_code == 303
    gauging = client.post("/pieces/3/gauge", data={"leg_circle": "40mm", "reading": "12.4um", "zero": "11.0um"})
    assert gauging.headers["location"] == "/gaugings/3"
    assert "Next run: this face on top" in seen(client, "/gaugings/3")
    assert client.post("/pieces/3/cost", data={"what": "glass", "amount": "12.50"}).status_code == 303
    assert client.post("/timers/1/stop", data={"position": "bottom", "minutes": "9min"}).headers["location"] == "/"
    history = seen(client, "/pieces/3")
    assert "Polishing, 20 min." in history
    assert "glass: 12.50 EUR." in history
    with shop.record() as record:
        assert [run.minutes for run in record.listing(Run)] == [20.0, 9.0]
        assert record.count(PieceEntry) == 4
        assert record.count(GaugingEntry) == 3


@pytest.mark.parametrize(
    ("path", "data", "sentence"),
    [
        (
            "/pieces/1/run",
            {"form": "run", "work": "polishing", "minutes": "20"},
            "The time on the lap was given as &#39;20&#39; without a unit",
        ),
        ("/pieces/1/gauge", {"leg_circle": "40mm", "reading": "12um", "zero": ""}, "The zero holds no number"),
        ("/orders/1", {"name": "G-1", "minor": "90mm"}, "There is a piece called &#39;G-1&#39; already"),
        ("/shop", {"form": "lamp", "name": "a", "light": "candle"}, "candle"),
        ("/pieces/1/timer", {"form": "timer", "work": "dancing", "minutes": "2min"}, "The work was given as &#39;dancing&#39;"),
    ],
)
def test_every_form_answers_what_it_can_not_take(client, path, data, sentence):
    """Refused beside the form with 422 and the sentence."""
    answer = client.post(path, data=data)
    assert answer.status_code == 422
    assert sentence in answer.text


def test_a_photograph_is_kept_once_and_its_reading_asked_for(client, shop, photograph):
    """The same upload again, as after a lost connection, leads to the same work and makes no second photograph."""
    data = {"token": token_on(client, "/pieces/2/photograph"), "light": "mercury-green", "thicker": "2.5"}
    files = {"photograph": ("IMG 1.jpg", photograph, "image/jpeg")}
    first = client.post("/pieces/2/photograph", data=data, files=files)
    again = client.post("/pieces/2/photograph", data=data, files=files)
    assert first.status_code == 303
    assert again.headers["location"] == first.headers["location"] == "/work/1"
    with shop.record() as record:
        assert record.count(Photograph) == 2
    assert "Waiting for its turn." in seen(client, "/work/1")
    assert client.post("/work/1/stop", data={}).headers["location"] == "/work/1"
    assert "Stopped. Nothing was entered." in seen(client, "/work/1")


def test_an_upload_without_a_photograph_is_refused(client):
    """No file, no entry, one sentence."""
    answer = client.post("/pieces/2/photograph", data={"light": "sodium"}, files={"photograph": ("", b"", "image/jpeg")})
    assert answer.status_code == 422
    assert "No photograph came" in answer.text


def test_a_flat_is_entered_with_its_map(client, shop):
    """A map file makes a reference flat that a photograph can lie on; another file is refused."""
    with shop.record() as record:
        data = map_file(reading_map(shop, record.get(ReadingEntry, 1)), name="a.npz")
    assert client.post("/flats", data={"name": "B"}, files={"map": ("b.npz", data)}).status_code == 303
    assert "B</option>" in seen(client, "/pieces/2/photograph")
    refused = client.post("/flats", data={"name": "C"}, files={"map": ("c.npz", b"no map")})
    assert refused.status_code == 422
    with shop.record() as record:
        assert [flat.map_name for flat in record.listing(Flat)] == ["b.npz"]


def test_runs_of_a_plan_are_ticked_off(client, shop):
    """Ticked runs are done, once, and stand in the history of the pieces that are the shop's own; a form without a tick is refused."""
    sent = {"token": token_on(client, "/batches/1"), "runs": ["1", "2"]}
    for _ in range(2):
        assert client.post("/batches/1", data=sent).headers["location"] == "/batches/1"
    text = seen(client, "/batches/1")
    assert text.count("✓ ") == 2
    assert 'value="1"' not in text
    assert "spring, 5 um," in seen(client, "/pieces/2")
    with shop.record() as record:
        assert record.count(Tick) == record.count(Run) == 2
    assert client.post("/batches/1", data={}).status_code == 422
    assert client.get("/batches/1/cards.pdf").content.startswith(b"%PDF")
    assert client.get("/batches/1/sags.png").content.startswith(b"\x89PNG")


def test_the_next_run_of_its_batch_is_the_next_step_of_a_piece(shop):
    """It is the first run that is not ticked off, with a link to the batch; none for a piece of no batch, or when all runs are done."""
    with shop.record() as record:
        batch, pieces = record.get(Batch, 1), [record.current(PieceEntry, number) for number in (1, 2)]
        assert [planned_step(record, piece) is None for piece in pieces] == [True, False]
    tick_runs(shop, 1, numbers=(1,), now="2026-03-03T10:00:00Z")
    with shop.record() as record:
        step, run = planned_step(record, pieces[1]), batch.found["runs"][1]
    assert step.words == f"Grind {run['top']} on {run['bottom']} with 5 um for 2.0 min, as planned."
    assert step.link == "/batches/1"
    tick_runs(shop, 1, numbers=tuple(range(2, len(batch.found["runs"]) + 1)), now="2026-03-03T10:00:00Z")
    with shop.record() as record:
        assert planned_step(record, pieces[1]) is None


def test_a_batch_is_planned_from_pieces_of_the_record(client):
    """Pieces that can't be planned are refused beside the form; others lead to the work."""
    refused = client.post("/batches", data={"name": "b", "abrasives": "5um", "pieces": ["1", "2"]})
    assert refused.status_code == 422
    assert "has no thickness" in refused.text
    alone = client.post("/batches", data={"name": "b", "abrasives": "5um", "pieces": ["1"]})
    assert "1 piece was ticked; 2 to 12 are needed, since a face is ground on another" in alone.text
    for name in ("R-1", "R-2"):
        client.post("/pieces", data={"name": name, "shape": "round", "diameter": "60mm", "thickness": "12mm"})
    assert client.post("/batches", data={"name": "b", "abrasives": "5um", "pieces": ["3", "4"]}).headers["location"] == "/work/1"
    for abrasives in ("", "5um,5um", "5mm", "5um,x"):
        refused = (
            client.post("/batches", data={"name": "b", "abrasives": abrasives, "pieces": ["3", "4"]})
            .text.split('role="alert"')[1]
            .split("</p>")[0]
        )
        assert not re.search(r"toml|_um|\[|=", refused), refused


def test_files_are_given(client, shop):
    """Map in every format, certificate, piece file, picture: each with its own bytes."""
    assert client.get("/certificates/1/certificate.pdf").content.startswith(b"%PDF")
    assert 'name = "G-1"' in client.get("/certificates/1/piece.toml").text
    assert client.get("/photographs/1/picture.jpg").content[:3] == b"\xff\xd8\xff"
    for kind in ("npz", "x3p", "csv", "png"):
        assert len(client.get(f"/readings/1/map.{kind}").content) > 1000
    for place in (shop.folder / "views").iterdir():
        place.unlink()
    assert client.get("/readings/1/map.png").content.startswith(b"\x89PNG")  # made anew
    assert client.get("/photographs/1/picture.jpg").status_code == 404


def test_the_box_is_drawn_and_refused(client):
    """The drawing is a PDF; what can't be used is said beside the form."""
    assert client.get("/box/drawing.pdf?largest=200mm&light=sodium").content.startswith(b"%PDF")
    assert "without a unit" in seen(client, "/box?largest=200")
    assert client.get("/box/drawing.pdf?largest=200").status_code == 422


def test_a_back_is_polished_and_photographed(client, shop, grid_photographs):
    """The timer is entered once, its stop leads back to the back; the photograph is kept once, and looking at it asked for once."""
    sent = {"token": token_on(client, "/pieces/1/back"), "form": "timer", "minutes": "10min"}
    for _ in range(2):
        assert client.post("/pieces/1/back/timer", data=sent).headers["location"] == "/pieces/1/back"
    with shop.record() as record:
        timers = record.listing(Timer)
    assert [timer.minutes for timer in timers] == [10.0, 10.0]  # that of piece 2 was there
    assert "When it is up: stop it, wash the mirror, dry both faces" in seen(client, "/pieces/1")
    assert client.post(f"/timers/{timers[-1].id}/stop", data={"minutes": "9min"}).headers["location"] == "/pieces/1/back"
    data, files = {"token": token_on(client, "/pieces/1/back")}, {"photograph": ("grid.jpg", grid_photographs[0], "image/jpeg")}
    answers = [client.post("/pieces/1/grid", data=data, files=files).headers["location"] for _ in range(2)]
    assert answers == ["/work/1", "/work/1"]
    assert "9 min" in seen(client, "/pieces/1/back")
    assert client.post("/pieces/1/back/again", data={"mark": "13"}).status_code == 422
    with shop.record() as record:
        assert record.count(GridPhotograph) == 3
    assert client.get("/grid.pdf?paper=letter").content.startswith(b"%PDF")
    assert client.get("/clearings/1/clearness.png").content.startswith(b"\x89PNG")


def test_pads_are_asked_for_once_and_printed(client):
    """The form begins with the last plate, leads to one work however often it is sent, and refuses beside itself; the template is a PDF."""
    assert 'value="160mm"' in seen(client, "/pads")
    sent = {"token": token_on(client, "/pads"), "piece": "2", "plate": "200mm", "pads": "round", "pad_size": "40mm", "paper": "a4"}
    assert [client.post("/pads", data=sent).headers["location"] for _ in range(2)] == ["/work/1", "/work/1"]
    refused = client.post("/pads", data=sent | {"pad_size": "40"})
    assert refused.status_code == 422
    assert "without a unit" in refused.text
    assert client.get("/pads/1/template.pdf").content.startswith(b"%PDF")


def test_flats_of_a_test_are_used_and_noted_on(client, shop):
    """The button enters each flat once; a note on one is a new entry, is told on its card, and is what a photograph then lies on."""
    sent = {"token": token_on(client, "/flats/tests/1"), "form": "use"}
    for _ in range(2):
        assert client.post("/flats/tests/1/use", data=sent).headers["location"] == "/flats"
    assert client.post("/flats/1/note", data={"form": "note1", "what": "rim knocked"}).headers["location"] == "/flats"
    assert "These became the shop's reference flats" in seen(client, "/flats/tests/1")  # the note is not lost by pressing it once more
    text = seen(client, "/flats")
    assert "3 March 2026: rim knocked" in text
    assert "Measured 3 March 2026, due again 3 March 2027." in text
    with shop.record() as record:
        assert record.count(Flat) == 4
    assert '<option value="4">A</option>' in seen(client, "/pieces/2/photograph")
    assert client.post("/flats/tests/new", data={"reading1": "1"}).status_code == 422


def test_strokes_are_shown_begun_and_ended(client, shop):
    """What is advised stands on the page as in the record; a stroke is begun once, its stop leads back, and its minutes stand there."""
    with shop.record() as record:
        found = record.get(StrokePlanEntry, 1).found
    text = seen(client, "/strokes/1")
    assert all(f"<td>{value}</td>" in text for _, value in before_and_after(found))
    assert all(f"<td>{value}</td>" in text for _, value, _ in rate_words(found))
    assert found["advice"] == "work"
    assert client.get("/strokes/1/card.pdf").content.startswith(b"%PDF")
    assert client.get("/strokes/1/picture.png").content.startswith(b"\x89PNG")
    sent = {"token": token_on(client, "/strokes/1"), "form": "start1", "number": "1"}
    for _ in range(2):
        assert client.post("/strokes/1/start", data=sent).headers["location"] == "/strokes/1"
    assert client.post("/strokes/1/start", data={"form": "start2", "number": "99"}).status_code == 422
    with shop.record() as record:
        (start,) = record.listing(StrokeStart)
    assert client.post(f"/timers/{start.timer_id}/stop", data={"minutes": "7min"}).headers["location"] == "/strokes/1"
    assert "7 min done" in seen(client, "/strokes/1")
    assert "Strokes advised." in seen(client, "/pieces/1")


def test_advice_on_strokes_is_asked_for_once(client, shop):
    """The form leads to one work however often it is sent; a reading of another piece is refused beside it."""
    sent = {"token": token_on(client, "/pieces/1/figuring"), "reading": "1", "seen": "back", "mark": "3"}
    assert [client.post("/pieces/1/figuring", data=sent).headers["location"] for _ in range(2)] == ["/work/1", "/work/1"]
    assert client.post("/pieces/1/figuring", data=sent | {"mark": "13"}).status_code == 422
    assert "Photograph the bands first" in seen(client, "/pieces/2/figuring")
    laps = {"token": token_on(client, "/shop"), "form": "lap", "name": "small lap", "diameter": "20mm"}
    for _ in range(2):
        assert client.post("/shop", data=laps).headers["location"] == "/shop"
    with shop.record() as record:
        assert record.count(LapEntry) == 2
    assert client.post("/shop", data={"form": "lap", "name": "a", "diameter": "20"}).status_code == 422


def test_runs_pieces_and_costs_are_corrected(client, shop):
    """Each form begins with what was entered, the correction holds under the old address once, and both stand on the page."""
    client.post("/pieces/1/run", data={"work": "polishing", "minutes": "20min"})
    client.post("/pieces/1/cost", data={"what": "glass", "amount": "12.50"})
    assert 'value="20min"' in seen(client, "/runs/1/correct")
    sent = {"token": token_on(client, "/runs/1/correct"), "work": "polishing", "minutes": "25min"}
    for _ in range(2):
        assert client.post("/runs/1/correct", data=sent).headers["location"] == "/pieces/1"
    text = seen(client, "/runs/1/correct")
    assert "20 min" in text
    assert "25 min. Corrected." in text
    assert client.post("/costs/1/correct", data={"what": "glass", "amount": "13"}).headers["location"] == "/pieces/1"
    assert "glass: 13.00 EUR. Corrected." in seen(client, "/pieces/1")
    sent = {"name": "G-1", "shape": "ellipse", "minor": "91mm", "glass": "borosilicate"}
    assert client.post("/pieces/1/correct", data=sent).headers["location"] == "/pieces/1"
    assert "91.00 × 128.69 mm" in seen(client, "/pieces/1")
    refused = client.post("/pieces/1/correct", data=sent | {"name": "G-2"})
    assert (refused.status_code, "There is a piece called &#39;G-2&#39; already" in refused.text) == (422, True)
    with shop.record() as record:
        assert record.count(Run) == 2
        assert record.count(PieceEntry) == 3


def test_an_old_reading_stays_what_it_was_when_its_piece_is_corrected(unsigned):
    """After a correction of the size the reading is still computed to the same numbers, and no certificate is written on it."""
    enter_piece(unsigned, {"name": "G-1", "minor": "91mm", "glass": "borosilicate"}, now="2026-03-04T09:00:00Z", corrects=1)
    with unsigned.record() as record:
        assert record.get(ReadingEntry, 1).told["minor"] == "90mm"
    assert reading_again(unsigned, 1) == ()
    with pytest.raises(BadInput, match="was corrected after this reading"):
        certify_for_the_record(unsigned, 1, now="2026-03-04T09:00:00Z")


def test_several_photographs_go_into_one_reading(client, shop, photograph):
    """Files chosen together are kept one by one and read as one, in their order; what is told of rest and pressing goes with them."""
    data = {"light": "mercury-green", "thicker": "2.5,8", "pressed": "3", "handled": "4min", "glass": "borosilicate", "thickness": "15mm"}
    files = [("photograph", (name, photograph + extra, "image/jpeg")) for name, extra in (("a.jpg", b"1"), ("b.jpg", b"2"))]
    assert client.post("/pieces/2/photograph", data=data, files=files).headers["location"] == "/work/1"
    with shop.record() as record:
        told = jobs.job_of(record, 1).told
    assert told["photographs"] == [2, 3]
    assert told["settings"] == {"shape": "ellipse", "minor": "90mm"} | data
    refused = client.post("/pieces/2/photograph", data=data | {"thickness": ""}, files=files)
    assert refused.status_code == 422
    assert "The thickness is missing beside the handling" in refused.text


def test_the_shops_prices_are_in_the_quote(client, shop):
    """Prices of the set-up are in the next order's quote and in the file for the command; orders before stay as they were."""
    before = seen(client, "/orders/1")
    sent = {"token": token_on(client, "/shop"), "form": "prices", "per_hour": "100", "currency": "SEK"}
    for _ in range(2):
        assert client.post("/shop", data=sent).headers["location"] == "/shop"
    assert client.get("/prices.toml").text.splitlines() == ["per_hour = 100", "currency = 'SEK'"]
    assert "SEK" in client.get("/orders/draft", params=ORDER).text
    assert re.findall(r"[\d.]+ EUR", seen(client, "/orders/1")) == re.findall(r"[\d.]+ EUR", before)
    with shop.record() as record:
        assert record.count(PricesEntry) == 1
    assert client.post("/shop", data={"form": "prices", "per_hour": "ten"}).status_code == 422


# What is sent to each address that takes a form; None for a file stands for a photograph of bands, of the grid, or a map.
SENT = {
    "/timers/{timer:int}/stop": ("/timers/1/stop", {"minutes": "9min"}, None),
    "/orders/new": ("/orders/new", ORDER, None),
    "/orders/{order:int}": ("/orders/1", {"name": "G-3", "minor": "90mm"}, None),
    "/orders/{order:int}/correct": ("/orders/1/correct", ORDER | {"name": "G-1"}, None),
    "/pieces": ("/pieces", {"name": "G-4", "shape": "round", "diameter": "4in"}, None),
    "/pieces/{piece:int}/timer": ("/pieces/1/timer", {"form": "timer", "work": "polishing", "minutes": "9min"}, None),
    "/pieces/{piece:int}/run": ("/pieces/1/run", {"form": "run", "work": "polishing", "minutes": "9min"}, None),
    "/pieces/{piece:int}/cost": ("/pieces/1/cost", {"form": "cost", "what": "glass", "amount": "9"}, None),
    "/pieces/{piece:int}/correct": ("/pieces/1/correct", {"name": "G-1", "minor": "91mm"}, None),
    "/runs/{run:int}/correct": ("/runs/1/correct", {"work": "polishing", "minutes": "9min"}, None),
    "/costs/{cost:int}/correct": ("/costs/1/correct", {"what": "glass", "amount": "9"}, None),
    "/pieces/{piece:int}/gauge": ("/pieces/1/gauge", {"leg_circle": "40mm", "reading": "12um", "zero": "11um"}, None),
    "/gaugings/{gauging:int}/correct": ("/gaugings/1/correct", {"leg_circle": "40mm", "reading": "12um", "zero": "11um"}, None),
    "/pieces/{piece:int}/photograph": ("/pieces/2/photograph", {"light": "sodium"}, ("photograph", "bands.jpg")),
    "/photographs/{photograph:int}": ("/photographs/1", {"light": "sodium"}, None),
    "/readings/{reading:int}/again": ("/readings/1/again", {}, None),
    "/verdicts/{verdict:int}/certificate": ("/verdicts/1/certificate", {}, None),
    "/batches": ("/batches", {"name": "b", "abrasives": "5um", "pieces": ["1", "2"]}, None),
    "/batches/{batch:int}": ("/batches/1", {"runs": ["1"]}, None),
    "/flats": ("/flats", {"name": "B"}, ("map", "b.npz")),
    "/flats/{flat:int}/note": ("/flats/1/note", {"what": "rim knocked"}, None),
    "/flats/tests/new": (
        "/flats/tests/new",
        {"reading1": "1", "on1": "B", "reading2": "1", "on2": "C", "reading3": "1", "on3": "D"},
        None,
    ),
    "/flats/tests/{test:int}/use": ("/flats/tests/1/use", {}, None),
    "/pieces/{piece:int}/back/timer": ("/pieces/1/back/timer", {"minutes": "9min"}, None),
    "/pieces/{piece:int}/back/again": ("/pieces/2/back/again", {"mark": "12"}, None),
    "/pieces/{piece:int}/grid": ("/pieces/2/grid", {"polished": "9min"}, ("photograph", "grid.jpg")),
    "/pieces/{piece:int}/figuring": ("/pieces/1/figuring", {"reading": "1"}, None),
    "/strokes/{plan:int}/start": ("/strokes/1/start", {"number": "1"}, None),
    "/pads": ("/pads", {"piece": "2", "plate": "200mm", "pads": "round", "pad_size": "40mm"}, None),
    "/shop": ("/shop", {"form": "abrasive", "name": "coarse", "grain": "40um"}, None),
    "/telephones/{telephone:int}/forget": ("/telephones/1/forget", {}, None),
    "/work/{job:int}/stop": ("/work/1/stop", {}, None),
}


def prepared(client):
    """What some forms need to be there first: a run, a cost, work in hand, flats in use, thickness of both pieces."""
    client.post("/pieces/1/run", data={"work": "polishing", "minutes": "20min"})
    client.post("/pieces/1/cost", data={"what": "glass", "amount": "12.50"})
    client.post("/flats/tests/1/use", data={})
    client.post("/readings/1/again", data={})
    for number in (1, 2):
        client.post(f"/pieces/{number}/correct", data={"name": f"G-{number}", "minor": "90mm", "thickness": "12mm"})


def entries(shop):
    """How many rows there are of each kind, work that was asked for among them."""
    with shop.record() as record:
        counts = {kind.table: record.count(kind) for kind in KINDS}
        return counts | {"job": record.connection.execute("SELECT COUNT(*) FROM job").fetchone()[0]}


@pytest.mark.parametrize("route", [route.path for route in bench.PAGES if "POST" in route.methods])
def test_every_form_sent_twice_enters_once(client, shop, route, photograph):
    """Double click, reload and back send the same form again: it leads to the same place, and no table has a row more."""
    prepared(client)
    path, data, file = SENT[route]
    data = data | {"token": "a-token-of-this-form-0001"}
    files = None if file is None else {file[0]: (file[1], _bytes_for(shop, file[0], photograph))}
    first = client.post(path, data=data, files=files)
    assert first.status_code == 303, first.text
    once = entries(shop)
    again = client.post(path, data=data, files=files)
    assert (again.status_code, again.headers["location"]) == (303, first.headers["location"])
    assert entries(shop) == once


def _bytes_for(shop, name, photograph):
    if name != "map":
        return photograph
    with shop.record() as record:
        return map_file(reading_map(shop, record.get(ReadingEntry, 1)), name="b.npz")


@pytest.mark.parametrize("path", ["/orders/99", "/pieces/99", "/readings/99", "/work/99", "/nothing", "/certificates/99/certificate.pdf"])
def test_what_is_not_there_says_so(client, path):
    """404 with a sentence and the way back, whatever is asked for."""
    answer = client.get(path)
    assert answer.status_code == 404
    assert 'role="alert"' in answer.text


def test_a_verdict_is_what_was_judged(client, shop):
    """Decision, guard band and doubts on the page are those of the record."""
    with shop.record() as record:
        found = record.get(VerdictEntry, 1).found
    text = seen(client, "/verdicts/1")
    assert f"</span> {found['decision']}</p>" in text
    assert found["iso10110"] in text


def test_the_next_step_stands_beside_every_result(client, shop):
    """Reading, verdict and certificate say what is next on the piece; beside an older reading they lead to the newest instead."""
    for path in ("/readings/1", "/verdicts/1", "/certificates/1"):
        assert "Hand it over with its paper." in seen(client, path)
    with shop.record() as record:
        record.add(replace(record.get(ReadingEntry, 1), id=0))
    for path in ("/readings/1", "/verdicts/1", "/certificates/1"):
        text = seen(client, path)
        assert "Hand it over" not in text
        assert '<a href="/readings/2">The newest reading</a>' in text


def test_sentences_of_the_command_line_are_said_as_on_a_page():
    """No page sends anybody to an option of the command line."""
    assert sentence_shown("add --focal-ratio like 5.") == "Add 'focal ratio' like 5."
    assert "--" not in sentence_shown("the price rests on our defaults; put the shop's own in with --prices")
    tables = (
        box_report,
        clear_report,
        verdict_flags,
        flags,
        gauge_report,
        order_report,
        pads_report,
        plan_report,
        strokes_report,
        threeflat_report,
    )
    sentences = [words for table in tables for name in ("SENTENCES", "MEANINGS") for words in getattr(table, name, {}).values()]
    assert len(sentences) > 60
    assert [words for words in map(sentence_shown, sentences) if re.search(r"--|_|'[a-z]+'", words)] == []
