"""The bench in a real browser: the whole job on two sizes of screen, what every page owes to everybody, and what goes wrong with networks."""

import re
import threading
from pathlib import Path
from urllib.parse import urlsplit

import cv2
import numpy as np
import pytest
from playwright.sync_api import expect

from straightband.shop import jobs
from straightband.shop.entries import GridPhotograph, Lamp, Ordered, Photograph, ReadingEntry, Run, StrokeStart
from straightband.shop.queries import photographs_of
from straightband.shop.telephones import know
from straightband.web import app as bench
from straightband.web.pairing import code_drawing
from straightband.workflows.maps import map_file
from straightband.workflows.shop_clock import later, utc_now
from straightband.workflows.shop_readings import reading_map
from straightband.workflows.shop_work import start_timer

ROOT = Path(__file__).resolve().parents[2]
SCREENS = ROOT / "build" / "screens"
AXE = Path(__file__).parent / "assets" / "axe.min.js"
DESKTOP, TELEPHONE = {"width": 1280, "height": 900}, {"width": 390, "height": 844}
PAGES = (
    "/", "/orders", "/orders/new", "/orders/1", "/pieces", "/pieces/1", "/pieces/2", "/pieces/1/gauge", "/gaugings/1", "/pieces/1/photograph",
    "/photographs/1", "/readings/1", "/verdicts/1", "/certificates/1", "/batches", "/batches/1", "/flats", "/shop", "/telephones", "/patterns", "/pair",
    "/pieces/2/back", "/pads", "/pads/1", "/box?largest=200mm", "/flats/tests/new", "/flats/tests/1", "/pieces/1/correct", "/pieces/1/figuring", "/strokes/1",
)  # fmt: skip
LONG_MS = 180_000
expect.set_options(timeout=LONG_MS)


@pytest.fixture
def open_page(browser):
    """Opens pages in contexts of their own; any request that leaves this computer, or any error of a script, fails the test."""
    contexts, faults = [], []

    def opened(home, *, viewport, **options):
        context = browser.new_context(viewport=viewport, base_url=home, **options)
        context.set_default_timeout(LONG_MS)
        contexts.append(context)
        page = context.new_page()
        page.on("request", lambda request: None if request.url.startswith((home, "data:", "blob:")) else faults.append(request.url))
        page.on("pageerror", lambda error: faults.append(str(error)))
        return page

    yield opened
    for context in contexts:
        context.close()
    assert faults == []


def fill(page, **texts):
    for name, text in texts.items():
        page.fill(f"main [name={name}]", text)


def photograph_file(data):
    return {"name": "IMG_0001.jpg", "mimeType": "image/jpeg", "buffer": data}


def the_whole_job(page, photograph):
    """From an order to its certificate; returns how often something was clicked or chosen."""
    page.goto("/")
    page.click("text=New order")
    fill(page, name="W-1", aperture="300mm", focal_length="1500mm", intercept="300mm", full_field="10mm")
    yield "order"
    page.click("text=Enter the order")
    fill(page, name="W-1", minor="90mm")
    page.click("text=Enter the piece")
    yield "piece"
    page.click("a.button:text-is('Photograph')")
    page.set_input_files("input[type=file]", photograph_file(photograph))
    page.select_option("main [name=light]", "mercury-green")
    fill(page, mark="3", thicker="2.5")
    yield "photograph"
    page.click("text=Send and read")
    page.wait_for_url(re.compile(r"/readings/\d+$"))
    yield "reading"
    page.click("a.button:has-text('Verdict:')")
    yield "verdict"
    page.click("text=Write the certificate")
    page.wait_for_url(re.compile(r"/certificates/\d+$"))
    yield "certificate"


@pytest.mark.parametrize(("screen", "viewport"), [("desktop", DESKTOP), ("telephone", TELEPHONE)])
def test_the_whole_job(served, open_page, photograph, screen, viewport):
    """An order is taken, its piece photographed, read, judged and certified by clicks alone; each step is kept as a picture."""
    page = open_page(served, viewport=viewport, has_touch=screen == "telephone", is_mobile=screen == "telephone")
    SCREENS.mkdir(parents=True, exist_ok=True)
    for number, step in enumerate(the_whole_job(page, photograph), start=1):
        if step == "order":
            page.wait_for_selector("#draft svg")  # drawn while it is typed
        if step == "reading":
            page.wait_for_selector("#map[data-ready]")
        page.screenshot(path=SCREENS / f"{screen}-{number}-{step}.png", full_page=True)
    answer = page.request.get(page.get_attribute("text=Open the paper", "href"))
    assert answer.body().startswith(b"%PDF")


def test_a_certificate_in_under_ten_clicks(served, open_page):
    """In a shop as the demonstration leaves it the certificate is two clicks away from the first page."""
    page = open_page(served, viewport=DESKTOP)
    page.goto("/")
    clicks = 0
    for words in ("Certificate", "Write the certificate"):
        page.click(f"a.button:has-text('{words}'), button:has-text('{words}')")
        clicks += 1
    page.wait_for_url(re.compile(r"/certificates/\d+$"))
    assert clicks < 10


def test_the_whole_job_without_a_script(served, open_page, photograph):
    """From an order to its certificate with scripts switched off: the work page asks again by itself, the map is a picture."""
    page = open_page(served, viewport=TELEPHONE, java_script_enabled=False)
    page.goto("/orders/new")
    fill(page, name="W-1", aperture="300mm", focal_length="1500mm", intercept="300mm", full_field="10mm")
    page.click("text=Look at it first")
    expect(page.locator("#draft svg")).to_have_count(1)
    page.click("text=Enter the order")
    fill(page, name="W-1", minor="90mm")
    page.click("text=Enter the piece")
    page.click("a.button:text-is('Photograph')")
    page.set_input_files("input[type=file]", photograph_file(photograph))
    page.select_option("main [name=light]", "mercury-green")
    fill(page, mark="3", thicker="2.5")
    page.click("text=Send and read")
    page.click("text=See it")
    expect(page.locator("#map noscript img, #map img")).to_have_count(1)
    page.click("a.button:has-text('Verdict:')")
    page.click("text=Write the certificate")
    page.click("text=See it")
    assert page.request.get(page.get_attribute("text=Open the paper", "href")).body().startswith(b"%PDF")


TELESCOPE = {"aperture": "300mm", "focal_ratio": "5", "intercept": "300mm", "full_field": "10mm"}
PAIRS = {f"{name}{row}": text for row, other in enumerate("BCD", start=1) for name, text in (("reading", "1"), ("on", other))}
# Every form in the order of the job: its page, the words on its button, what is filled in.
FORMS = (
    ("/shop", "Enter the abrasive", {"name": "coarse", "grain": "40um"}),
    ("/orders/new", "Enter the order", {"name": "S-1", **TELESCOPE}),
    ("/orders/2/correct", "Enter the correction", {"customer": "an amateur"}),
    ("/orders/2", "Enter the piece", {"name": "S-1", "minor": "90mm", "thickness": "12mm"}),
    ("/pieces", "Enter the piece", {"name": "S-2", "shape": "round", "diameter": "100mm", "thickness": "12mm"}),
    ("/pieces/3/correct", "Enter the correction", {"thickness": "13mm"}),
    ("/batches", "Plan the grinding", {"name": "summer", "abrasives": "20um", "pieces": "3,4"}),
    ("/batches/1", "Enter the runs that are ticked", {"runs": "1"}),
    ("/pieces/3", "Enter the run", {"work": "grinding", "minutes": "12min"}),
    ("/runs/2/correct", "Enter the correction", {"minutes": "13min"}),
    ("/pieces/3", "Enter the cost", {"what": "glass", "amount": "12.50"}),
    ("/costs/1/correct", "Enter the correction", {"amount": "13"}),
    ("/pieces/3/gauge", "Enter the gauging", {"leg_circle": "40mm", "reading": "12um,12.1um", "zero": "11um"}),
    ("/gaugings/3/correct", "Enter the correction", {"reading": "12.2um,12.1um"}),
    ("/pieces/3", "Start the timer", {"work": "polishing", "minutes": "20min"}),
    ("/pieces/3", "Stop", {"minutes": "19min"}),
    ("/pieces/3/back", "Start the timer", {"minutes": "10min"}),
    ("/pieces/3/back", "Stop", {"minutes": "9min"}),
    ("/pieces/3/back", "Send and look", {"photograph": "grid", "polished": "9min"}),
    ("/pieces/2/back", "Look again", {"mark": "6"}),
    ("/pads", "Lay the pads out", {"piece": "3", "plate": "200mm", "pad_size": "40mm"}),
    ("/pieces/3/photograph", "Send and read", {"photograph": "bands", "light": "sodium"}),
    ("/photographs/1", "Read again", {"mark": "6"}),
    ("/readings/1", "Compute it anew", {}),
    ("/pieces/1/figuring", "Ask what to do", {"reading": "1"}),
    ("/strokes/1", "Start stroke 1", {}),
    ("/flats", "Enter the flat", {"name": "Z", "map": "map"}),
    ("/flats/tests/new", "Tell them apart", PAIRS),
    ("/flats/tests/1", "Use them as reference flats", {}),
    ("/flats", "Note it", {"what": "rim knocked"}),
    ("/verdicts/1", "Write the certificate", {}),
    ("/work/1", "Stop it", {}),
    ("/telephones", "Forget it", {}),
)  # fmt: skip


def sent_by_hand(page, path, *, words, texts, files):
    """A form found, filled in and sent as a person would without a script."""
    page.goto(path)
    form = page.locator("main form", has=page.get_by_role("button", name=words, exact=True, include_hidden=True)).last
    for closed in page.locator("main details:not([open]) > summary").all()[::-1]:
        if closed.is_visible():
            closed.click()
    for closed in form.locator("details:not([open]) > summary").all()[::-1]:
        closed.click()
    for name, text in texts.items():
        place = form.locator(f"[name={name}]").first
        if place.get_attribute("type") == "file":
            place.set_input_files(files[text])
        elif place.get_attribute("type") == "checkbox":
            for value in text.split(","):
                form.locator(f"[name={name}][value='{value}']").check()
        elif form.locator(f"select[name={name}]").count():
            place.select_option(text)
        else:
            place.fill(text)
    with page.expect_navigation():  # the page that follows is looked at whole
        form.get_by_role("button", name=words, exact=True).click()
    assert page.locator("[role=alert]").all_inner_texts() == [], path


def test_every_form_works_without_a_script(idle, unsigned, open_page, photograph, grid_photographs):
    """No address that takes a form is left out, and each form leads on by its own button, with scripts switched off."""
    with unsigned.record() as record:
        heights = map_file(reading_map(unsigned, record.get(ReadingEntry, 1)), name="z.npz")
        know(record, "a cookie", name="a telephone", now=utc_now(), until="2096-01-01T00:00:00Z")
    files = {
        "bands": photograph_file(photograph) | {"name": "other.jpg"},
        "grid": photograph_file(grid_photographs[0]),
        "map": {"name": "z.npz", "mimeType": "application/octet-stream", "buffer": heights},
    }
    forms = {route.path: route for route in bench.PAGES if "POST" in route.methods}
    sent = set()
    page = open_page(idle, viewport=TELEPHONE, java_script_enabled=False)
    page.context.set_default_timeout(5000)
    page.on("request", lambda request: sent.add(urlsplit(request.url).path) if request.method == "POST" else None)
    for path, words, texts in FORMS:
        sent_by_hand(page, path, words=words, texts=texts, files=files)
    page.click("footer button")
    page.wait_for_selector("text=Lengths in inches")
    taken = {path for path, route in forms.items() if any(route.path_regex.match(each) for each in sent)}
    assert taken == set(forms)
    assert "/units" in sent


def scanned(page):
    page.add_script_tag(content=AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [f"{each['id']}: {node['html'][:160]}" for each in found["violations"] for node in each["nodes"]]


@pytest.mark.parametrize("viewport", [{"width": 360, "height": 740}, {"width": 1600, "height": 1000}], ids=["360 px", "1600 px"])
def test_no_page_shuts_anybody_out(home, open_page, viewport):
    """axe-core finds no violation on any page, with what can be opened open; and no page is wider than its screen, text at 200 % included."""
    page = open_page(home, viewport=viewport, bypass_csp=True)  # which the scanner needs to be loaded at all
    faults = []
    for path in PAGES:
        page.goto(path)
        page.evaluate("document.querySelectorAll('details').forEach(function (each) { each.open = true; })")
        faults += [f"{path}: {each}" for each in scanned(page)]
        for size in ("", "225%"):  # 112.5 % is ours
            page.evaluate(f"document.documentElement.style.fontSize = '{size}'")
            wide = page.evaluate("document.documentElement.scrollWidth")
            faults += [f"{path} is {wide} wide with text at {size or 'its own size'}"] * (wide > viewport["width"])
    assert faults == []


def test_thumbs_find_what_they_press(home, open_page):
    """Buttons, fields and links that stand for themselves are at least 44 pixels tall on a telephone (WCAG 2.2, 2.5.5 Target Size)."""
    page = open_page(home, viewport=TELEPHONE)
    small = []
    for path in (
        "/",
        "/orders/new",
        "/pieces/1",
        "/pieces/1/photograph",
        "/verdicts/1",
        "/pieces/2/back",
        "/pads/1",
        "/box",
        "/flats",
        "/strokes/1",
    ):
        page.goto(path)
        for part in page.query_selector_all("main button, main .button, main input:not([type=hidden]), main select, main summary, nav a"):
            box = part.bounding_box()
            if box and box["height"] < 44.0:
                small.append(f"{path}: {part.inner_text()} {box['height']:.0f}")
    assert small == []


def test_the_keyboard_is_enough(served, open_page):
    """The first stop leads past the head, an order can be entered by keys alone, and the map is pointed at by arrow keys."""
    page = open_page(served, viewport=DESKTOP)
    page.goto("/orders/new")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    for text in ("K-1", "", "300mm", "5", "", "300mm", "10mm"):
        page.keyboard.press("Tab")
        page.keyboard.type(text)
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/orders/\d+$"))
    page.goto("/readings/1")
    page.wait_for_selector("#map[data-ready]")
    page.focus("#map canvas")
    page.keyboard.press("ArrowRight")
    told = r"u (\S+) {0}, v (\S+) {0}: \S+ nm ± \S+ nm \(95 %\), \S+ bands"
    in_mm = re.search(told.format("mm"), page.inner_text("#map .tell")).groups()
    with page.expect_navigation():
        page.click("text=Show inches")
    page.wait_for_selector("#map[data-ready]")
    page.focus("#map canvas")
    page.keyboard.press("ArrowRight")
    in_inches = re.search(told.format("in"), page.inner_text("#map .tell")).groups()
    numbers = [[float(each.replace("\u2212", "-")) for each in each] for each in (in_mm, in_inches)]
    assert numbers[1] == pytest.approx([each / 25.4 for each in numbers[0]], abs=0.008)  # both are rounded
    page.keyboard.press("Shift+ArrowDown")
    page.keyboard.press("Shift+ArrowDown")
    expect(page.locator("#map canvas:not([hidden])")).to_have_count(3)


def test_a_line_drawn_over_the_map_shows_its_profile(home, open_page):
    """Dragging over the map opens the profile; the height told at its middle is that of the file."""
    page = open_page(home, viewport=DESKTOP)
    page.goto("/readings/1")
    page.wait_for_selector("#map[data-ready]")
    page.locator("#map").scroll_into_view_if_needed()
    box = page.locator("#map canvas").first.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x - 60, y)
    page.mouse.down()
    page.mouse.move(x, y, steps=4)
    page.mouse.up()
    expect(page.locator("#map canvas:not([hidden])")).to_have_count(3)
    assert "± " in page.inner_text("#map .tell")


def test_the_outline_is_corrected_by_its_handles(served, open_page):
    """Dragging a handle writes the outline into the form's field, in pixels of the photograph."""
    page = open_page(served, viewport=DESKTOP)
    page.goto("/photographs/1")
    box = page.locator(".handle").first.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 2 + 30, box["y"] + box["height"] / 2, steps=3)
    page.mouse.up()
    moved = [float(each) for each in page.input_value("[name=outline]").split(",")]
    page.locator(".handle").first.focus()
    page.keyboard.press("ArrowLeft")
    pushed = [float(each) for each in page.input_value("[name=outline]").split(",")]
    assert len(moved) == 5
    assert pushed[0] < moved[0]
    assert pushed[1] == pytest.approx(moved[1], abs=0.11)  # a tenth of a pixel is what is written


def test_several_photographs_are_read_as_one(served, unsigned, open_page, photograph):
    """Two files chosen at once are sent together and become one reading that rests on both."""
    page = open_page(served, viewport=TELEPHONE)
    page.goto("/pieces/2/photograph")
    files = [photograph_file(photograph), photograph_file(photograph + b"again") | {"name": "IMG_0002.jpg"}]
    page.set_input_files("input[type=file]", files)
    page.select_option("main [name=light]", "mercury-green")
    fill(page, mark="3", thicker="2.5")
    page.click("text=Send and read")
    page.wait_for_url(re.compile(r"/readings/\d+$"))
    page.click("summary:has-text('How it was read')")
    expect(page.locator("a:has-text('IMG_000')")).to_have_count(2)
    with unsigned.record() as record:
        assert [each.name for each in photographs_of(record, record.count(ReadingEntry))] == ["IMG_0001.jpg", "IMG_0002.jpg"]


def test_a_stroke_runs_by_its_timer(served, unsigned, open_page):
    """A stroke that was advised is begun with a double click once, its clock survives a reload, and what was done of it stands beside it."""
    page = open_page(served, viewport=TELEPHONE)
    page.goto("/strokes/1")
    page.dblclick("button:has-text('Start stroke 1')")
    page.wait_for_selector("[role=timer]")
    page.reload()
    assert ":" in page.inner_text("[role=timer]")
    page.click(".strokes summary")
    page.fill(".strokes [name=minutes]", "5min")
    page.click("button:text-is('Stop')")
    page.wait_for_selector("text=5 min done")
    with unsigned.record() as record:
        assert record.count(StrokeStart) == 1
        assert [run.work for run in record.listing(Run)] == ["figuring"]


def test_a_back_on_the_way_to_clear(served, unsigned, open_page, grid_photographs):
    """The timer on the pads survives a reload and says what to do when it is up; the grid is photographed and the clearness stands there."""
    page = open_page(served, viewport=TELEPHONE)
    page.goto("/pieces/1/back")
    fill(page, minutes="10min")
    page.click("text=Start the timer")
    page.wait_for_selector("[role=timer]")
    page.reload()
    assert page.inner_text("[role=timer]").startswith(("9:", "10:"))
    assert "dry both faces" in page.inner_text(".then")
    page.click("summary:has-text('More') >> nth=0")
    page.fill(".card [name=minutes]", "8min")
    page.dblclick("button:text-is('Stop')")
    page.wait_for_selector("[role=timer]", state="detached")
    page.set_input_files("input[type=file]", photograph_file(grid_photographs[0]))
    page.click("text=Send and look")
    page.wait_for_selector("text=Clearness over time")
    assert "Not clear yet" in page.inner_text(".card")
    expect(page.locator(".handle")).to_have_count(3)
    with unsigned.record() as record:
        assert [run.minutes for run in record.listing(Run)] == [8.0]
        assert [each.minutes for each in record.listing(GridPhotograph)][-1] == 8.0


def test_the_pairing_code_can_be_read_by_a_camera(browser):
    """A general reader of such codes finds address and code in what the screen shows."""
    address = "http://192.0.2.7:8462/pair?code=ABCD2345"
    page = browser.new_page(viewport={"width": 500, "height": 500})
    page.set_content(f"<div style='width: 360px'>{code_drawing(address)}</div>")
    screen = cv2.imdecode(np.frombuffer(page.screenshot(), np.uint8), cv2.IMREAD_COLOR)
    page.close()
    assert cv2.QRCodeDetector().detectAndDecode(screen)[0] == address


def test_double_click_reload_and_back_enter_once(served, unsigned, open_page):
    """Whatever is pressed twice, one order is there."""
    page = open_page(served, viewport=DESKTOP)
    page.goto("/orders/new")
    fill(page, name="D-1", aperture="300mm", focal_ratio="5", intercept="300mm", full_field="10mm")
    page.dblclick("text=Enter the order")
    page.wait_for_url(re.compile(r"/orders/2$"))
    page.reload()
    page.go_back()
    page.wait_for_url(re.compile(r"/orders/new$"))
    fill(page, name="D-1", aperture="300mm", focal_ratio="5", intercept="300mm", full_field="10mm")
    page.click("text=Enter the order")
    page.locator("[role=alert]", has_text="There is an order called 'D-1' already").or_(page.locator("h1", has_text="Order D-1")).wait_for()
    page.goto("/shop")
    page.click("summary:has-text('Enter the lamp')")
    page.fill("#form-lamp [name=name]", "sodium lamp")
    page.fill("#form-lamp [name=light]", "sodium")
    page.dblclick("#form-lamp button")
    page.wait_for_selector("text=sodium lamp")
    page.reload()
    with unsigned.record() as record:
        assert record.count(Lamp) == 2
        names = [order.name for order in record.listing(Ordered)]
    assert names.count("D-1") == 1


def test_a_lost_connection_delays_an_upload_and_no_more(served, unsigned, open_page, photograph):
    """The first two attempts are cut off; the page says so, tries again by itself, and one photograph is there."""
    page = open_page(served, viewport=TELEPHONE)
    page.goto("/pieces/2/photograph")
    cut = []

    def cutting(route):
        if route.request.method == "POST" and len(cut) < 2:
            cut.append(route.request.url)
            route.abort("connectionreset")
        else:
            route.continue_()

    page.route("**/pieces/2/photograph", cutting)
    page.set_input_files("input[type=file]", photograph_file(photograph))
    page.click("text=Send and read")
    page.wait_for_selector("text=The connection was lost; trying again.")
    page.wait_for_url(re.compile(r"/work/\d+$|/readings/\d+$"))
    assert len(cut) == 2
    with unsigned.record() as record:
        assert record.count(Photograph) == 2
        assert record.connection.execute("SELECT COUNT(*) FROM job").fetchone()[0] == 1


def test_two_telephones_send_at_once(served, unsigned, photograph):
    """Two photographs sent at the same moment are both entered, each with its own work."""
    import httpx2

    answers, barrier = {}, threading.Barrier(2)

    def send(piece):
        files, data = {"photograph": ("a.jpg", photograph, "image/jpeg")}, {"light": "mercury-green"}
        barrier.wait()
        answer = httpx2.post(f"{served}/pieces/{piece}/photograph", data=data, files=files, headers={"Origin": served})
        answers[piece] = answer.headers["location"]

    threads = [threading.Thread(target=send, args=(piece,)) for piece in (1, 2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers.values()) == ["/work/1", "/work/2"]
    with unsigned.record() as record:
        assert record.count(Photograph) == 2
        for number in (1, 2):
            jobs.end(record, number, state="stopped")


def test_a_timer_survives_a_reload(served, unsigned, open_page):
    """The clock counts from the moment that was entered, whichever screen looks at it, and says when it is over."""
    page = open_page(served, viewport=TELEPHONE)
    page.goto("/")
    assert "over by" in page.inner_text(".time")  # that of the shop began long ago
    page.click("text=Stop")
    page.wait_for_selector(".time", state="detached")
    start_timer(unsigned, 1, texts={"work": "polishing", "minutes": "30min"}, now=later(utc_now(), minutes=-10.0))
    for _ in range(2):
        page.goto("/pieces/1")
        minutes, seconds = page.inner_text(".time").split(":")
        assert 19 * 60 <= int(minutes) * 60 + int(seconds) <= 20 * 60
        page.reload()


def test_progress_is_told_and_work_can_be_stopped(served, unsigned, open_page, photograph):
    """The page is told of each stage while it is open; stopping it ends the work, and the page says so."""
    page = open_page(served, viewport=DESKTOP)
    page.goto("/pieces/2/photograph")
    page.set_input_files("input[type=file]", photograph_file(photograph))
    page.click("text=Send and read")
    page.wait_for_url(re.compile(r"/work/1$"))
    page.locator("#stage", has_text=re.compile("opening|looking|reading|weighing")).wait_for()
    page.click("text=Stop it")
    page.wait_for_selector("text=Stopped. Nothing was entered.")
    with unsigned.record() as record:
        assert jobs.job_of(record, 1).state == "stopped"
