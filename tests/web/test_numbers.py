"""Every number on a page is one that the command tells under `--json` for the same input: line by line, each in its place.

What the command is given is taken out of the record as a person would copy it from there. A page may show a length in inches, a share in per cent, heights in
um and an angle as a clock hour, and rounds; nothing else may happen between the two, and no line with a number in it may be left over.
"""

import html
import json
import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

import pytest

from straightband.cli import main
from straightband.shop.entries import (
    Batch,
    Clearing,
    FlatTest,
    GaugingEntry,
    Ordered,
    PlateEntry,
    ReadingEntry,
    StrokePlanEntry,
    VerdictEntry,
)
from straightband.shop.queries import photographs_of
from straightband.wear.pads import evened

BLOCKS = {"p", "li", "tr", "h1", "h2", "summary", "figcaption", "caption", "label", "section", "div", "form"}
UNREAD = {"script", "style", "svg", "select", "noscript"}
# What stands in a page whatever was found.
STANDING = re.compile(
    r"95 %|ISO 10110-5(?::2015)?|ISO 14253-1|ISO 25178-72|At 100 %|at 100 %|100 mm bars|45°|45 degrees|\d+ \w+ 2026(?:, \d\d:\d\d)?"
)
NUMBER = re.compile(r"(?<![\w.\-+−])[-+−]?\d+(?:\.\d+)?(?:e[-+]?\d+)?")


class _Lines(HTMLParser):
    """The lines of a page as they are read: cells of a table one after the other, drawings and what is to be filled in left out."""

    def __init__(self):
        super().__init__()
        self.lines, self.text, self.open = [], "", []

    def handle_starttag(self, tag, attrs):
        classes = dict(attrs).get("class") or ""
        if tag in UNREAD or any(name in classes.split() for name in ("field", "doubts", "caution")):
            self.open.append([tag, 1])
        elif self.open and tag == self.open[-1][0]:
            self.open[-1][1] += 1
        if tag in BLOCKS:
            self._end()
        self.text += " | " if tag in ("td", "th") else ""

    def handle_endtag(self, tag):
        if self.open and tag == self.open[-1][0]:
            self.open[-1][1] -= 1
            if not self.open[-1][1]:
                self.open.pop()
        if tag in BLOCKS:
            self._end()

    def handle_data(self, data):
        self.text += "" if self.open else data

    def _end(self):
        line, self.text = " ".join(self.text.split()), ""
        self.lines += [line] if line else []


def lines_of(text):
    """The lines of a page's own part that hold a number of its own."""
    reader = _Lines()
    reader.feed(text.split("<main")[1].split("</main>")[0])
    return [line for line in reader.lines if NUMBER.search(STANDING.sub("", line))]


def step_of(number, doubt=None):
    """How much the last figure shown is worth, by the rule that two figures of an uncertainty are shown if it begins with 1, 2 or 3, else one."""
    mantissa, _, power = number.lstrip("+-−").partition("e")
    places = len(mantissa.partition(".")[2])
    if doubt is not None and not places and "." not in doubt:
        return 10.0 ** (len(doubt) - (2 if doubt[0] in "123" else 1))
    return 10.0 ** (int(power or 0) - places)


def agrees(line, wanted):
    """Whether the numbers in a line are those that are wanted, in their order, each to its last figure."""
    shown = NUMBER.findall(STANDING.sub("", line))
    if len(shown) != len(wanted):
        return False
    doubts = [re.search(re.escape(each) + r" ± (\d+(?:\.\d+)?)", line) for each in shown]
    steps = [step_of(each, found[1] if found else each if f"± {each}" in line else None) for each, found in zip(shown, doubts, strict=True)]
    return all(
        abs(float(each.replace("−", "-")) - value) <= 0.5000001 * step for each, value, step in zip(shown, wanted, steps, strict=True)
    )


@dataclass
class Seen:
    """A page, whose lines are ticked off one by one."""

    lines: list
    wrong: list = field(default_factory=list)

    def line(self, begins, *wanted):
        """Tick off the first line that begins with some words, less those words, and note it if its numbers are not those wanted."""
        for place, line in enumerate(self.lines):
            if line.startswith(begins):
                if not agrees(line.removeprefix(begins), [float(each) for each in wanted]):
                    self.wrong.append((line, wanted))
                del self.lines[place]
                return
        self.wrong.append((f"no line begins with '{begins}'", wanted))

    def done(self):
        """Everything was ticked off and nothing was wrong."""
        assert self.wrong == []
        assert self.lines == []


@pytest.fixture(params=["mm", "in"])
def units(request):
    """What lengths on pages are shown in."""
    return request.param


@pytest.fixture
def told(capsys):
    """What a command tells under `--json`."""

    def asked(*command):
        assert main([*(str(each) for each in command), "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    return asked


def seen(client, path, units="mm"):
    client.cookies.set("units", units)
    answer = client.get(path)
    assert answer.status_code == 200
    return Seen(lines=lines_of(answer.text))


def options(told, *, but=()):
    """What was typed, as options."""
    return [part for name, text in told.items() if name not in but for part in (f"--{name.replace('_', '-')}", text)]


def same(found, answer, *, but=()):
    """What the record holds is what the command says."""
    assert {name: value for name, value in found.items() if name not in but} == {name: answer[name] for name in answer if name not in but}


def inches(units):
    return (lambda mm: mm / 25.4) if units == "in" else (lambda mm: mm)


def budget_lines(page, budget, *, figure=None, total=None, per_nm=1.0):
    """Lines of a budget, whose causes tell their own numbers."""
    for each in budget:
        words = f"| {each['term'][:1].upper()}{each['term'][1:]}"
        nm = each["by_figure"][figure] if figure else each["nm"]
        found = next(line for line in page.lines if line.startswith(words))
        own = [float(number) for number in NUMBER.findall(STANDING.sub("", each["origin"]))]
        size = nm * per_nm if nm >= 1e-3 else 0.0
        page.line(words, *([*own, size] if per_nm == 1.0 else [size, *own]))
        assert html.unescape(each["origin"]) in found
    if total is not None:
        page.line("| Together", total)


def test_lines_are_held_to_their_last_figure():
    """A number that differs in the last figure shown, one too many, and one in the place of another are each found."""
    assert agrees("14.7 ± 2.8 um", [14.681, 2.804])
    assert not agrees("14.6 ± 2.8 um", [14.681, 2.804])
    assert not agrees("14.7 ± 2.8 um, 54 bands", [14.681, 2.804])
    assert not agrees("2.8 ± 14.7 um", [14.681, 2.804])
    assert agrees("80 ± 40 nm", [78.95, 41.95])
    assert not agrees("70 ± 40 nm", [78.95, 41.95])
    assert lines_of("<main><p class='field'>like 40um</p><p>none</p><p>7 of <b>95 %</b></p><svg><text>9</text></svg></main>") == [
        "7 of 95 %"
    ]


def test_a_verdict(client, shop, told, tmp_path, units):
    """`certify --json` of the piece file that the page gives: decision, Strehl ratios, margin, guard band, form."""
    with shop.record() as record:
        verdict, taken = record.get(VerdictEntry, 1), photographs_of(record, 1)
    (tmp_path / "piece.toml").write_text(client.get("/certificates/1/piece.toml").text, encoding="utf-8")
    for each in taken:
        (tmp_path / each.name).write_bytes(shop.photos.read(each.sha256))
    answer = told("certify", tmp_path / "piece.toml", "--out", tmp_path / "cert.pdf")
    same(
        {name: verdict.found[name] for name in verdict.found if name != "budget"},
        {name: answer[name] for name in verdict.found if name != "budget"},
    )
    page, long = seen(client, "/verdicts/1", units), inches(units)
    least = min(answer["strehl"], key=lambda at: at["strehl"])
    page.line(
        "The mirror meets", answer["strehl_wanted"], answer["light_judged_nm"], least["strehl"], least["uncertainty"], long(least["field_radius_mm"]),
        answer["guard_band"],
    )  # fmt: skip
    page.line("By distance", answer["margin"], answer["margin_uncertainty"])
    for at in answer["strehl"]:
        page.line("| ", long(at["field_radius_mm"]), at["strehl"], at["uncertainty"])
    assert page.lines.pop() == f"Form after ISO 10110-5: {answer['iso10110']}"
    page.done()


def test_a_verdict_against_a_saved_map(client, shop, told, tmp_path):
    """`judge --json` of the map that the page gives finds the same values; a saved map has no draws of its errors, so that the uncertainties are its own."""
    with shop.record() as record:
        verdict, order = record.get(VerdictEntry, 1).found, record.get(Ordered, 1)
    (tmp_path / "map.npz").write_bytes(client.get("/readings/1/map.npz").content)
    answer = told(
        "judge",
        tmp_path / "map.npz",
        *options({key: order.told[key] for key in ("aperture", "focal_length", "intercept", "full_field", "strehl")}),
    )
    assert answer["margin"] == pytest.approx(verdict["margin"], abs=1e-9)
    assert [at["strehl"] for at in answer["strehl"]] == pytest.approx([at["strehl"] for at in verdict["strehl"]], abs=1e-9)
    assert answer["iso10110"] == verdict["iso10110"]
    assert answer["margin_uncertainty"] >= verdict["margin_uncertainty"]


def test_a_plan(client, shop, told, tmp_path, units):
    """`plan --json` of the batch file that the record keeps: runs, minutes, strokes, marks, sags foreseen, companion."""
    with shop.record() as record:
        batch = record.get(Batch, 1)
    (tmp_path / "batch.toml").write_text(batch.told["batch_file"], encoding="utf-8")
    answer = told("plan", tmp_path / "batch.toml")
    same(batch.found, answer, but=("papers",))
    page, long = seen(client, "/batches/1", units), inches(units)
    companion = answer["companion"]
    page.line("Planned on", answer["free_curvatures"], long(companion["diameter_mm"]), long(companion["thickness_mm"]))
    for stage in answer["stages"]:
        runs = [run for run in answer["runs"] if run["abrasive_um"] == stage["abrasive_um"]]
        page.line("", stage["abrasive_um"], stage["minutes"], *stage["minutes_range"], 0, len(runs))
        for run in runs:
            assert run["turn_deg"] % 30 == 0
            page.line(f"{run['top']} on {run['bottom']}, ", run["minutes"], long(run["stroke_mm"]), run["turn_deg"] // 30 % 12 or 12)
    for place, _ in enumerate(answer["stages"]):
        for name, sags in answer["predicted_sag_um"].items():
            page.line(f"| {name} |", sags[place], answer["predicted_sag_uncertainty_um"][name][place])
    page.done()


def test_a_gauging(client, shop, told):
    """`gauge --json` with the readings that were typed and the sag before: sag, whole face, bands, radius, budget."""
    with shop.record() as record:
        before, gauging = record.get(GaugingEntry, 1), record.get(GaugingEntry, 2)
    earlier = f"{before.told['after_abrasive']}:{before.found['sag_um']:.9g}um"
    answer = told("gauge", "--minor", "90mm", *options(gauging.told, but=("after_abrasive",)), "--earlier", earlier)
    same(gauging.found, answer, but=("earlier",))
    assert [each["sag_um"] for each in answer["earlier"]] == pytest.approx([each["sag_um"] for each in gauging.found["earlier"]], abs=1e-9)
    page = seen(client, "/gaugings/2")
    page.line("| Sag within the feet", answer["sag_um"], answer["sag_uncertainty_um"])
    page.line("| Over the whole face", answer["edge_sag_um"], answer["edge_sag_uncertainty_um"])
    page.line("| In bands", answer["bands"], answer["bands_uncertainty"])
    page.line("| Radius of curvature", answer["radius_at_least_m"])
    for name, typed in (("After abrasive", "after_abrasive"), ("Readings", "reading"), ("On the flat", "zero")):
        page.lines.remove(f"| {name} | {gauging.told[typed]}")
    budget_lines(page, answer["budget"], per_nm=1e-3)
    page.done()


def test_strokes(client, shop, told, tmp_path):
    """`strokes --json` of the reading's map with the laps of the shop: before and after, rates, budget; each stroke is said in the command's own words."""
    with shop.record() as record:
        plan = record.get(StrokePlanEntry, 1)
    (tmp_path / "laps.toml").write_text(plan.told["laps"], encoding="utf-8")
    (tmp_path / "G-1.npz").write_bytes(client.get(f"/readings/{plan.reading_id}/map.npz").content)
    asked = ("strokes", tmp_path / "G-1.npz", "--laps", tmp_path / "laps.toml", "--tolerance", plan.told["tolerance"])
    answer = told(*asked)
    same(plan.found, answer, but=("papers", "predicted_map"))
    in_inches = seen(client, "/strokes/1", "in").lines
    assert all(any(_is_stroke(line, run, "in") for line in in_inches if " on top, " in line) for run in answer["runs"])
    page = seen(client, "/strokes/1")
    page.line("Work", answer["minutes"], len(answer["runs"]))
    for number, run in enumerate(answer["runs"], start=1):
        (said,) = [line for line in page.lines if line.startswith(f"{run['minutes']:g} min: {run['lap']} on top") and _is_stroke(line, run)]
        page.lines.remove(said)
        page.lines.remove(f"Start stroke {number}")
    page.line("| Now, peak to valley", answer["pv_nm"], answer["pv_uncertainty_nm"])
    page.line("| Now, RMS", answer["rms_nm"], answer["rms_uncertainty_nm"])
    page.line("| Wanted, peak to valley", answer["tolerance_pv_nm"])
    page.line("| Afterwards, peak to valley", answer["predicted_pv_nm"], answer["predicted_pv_uncertainty_nm"])
    page.line("| Afterwards, RMS", answer["predicted_rms_nm"], answer["predicted_rms_uncertainty_nm"])
    page.line("| Takes off where most", answer["removed_nm"])
    page.line("| Takes off in the mean", answer["removed_mean_nm"])
    page.line("| Moves the edge by", answer["edge_change_nm"])
    for rate in answer["rates"]:
        page.line(f"| {rate['lap']}", rate["factor"], rate["low"], rate["high"], rate["runs"])
    budget_lines(page, answer["budget"], total=answer["predicted_rms_uncertainty_nm"])
    page.done()


def _is_stroke(line, run, units="mm"):
    """Whether a line on the page tells the stroke that is written in short: travel, swing, place, depth, wear of the rim."""
    travel, swing, along, u, v = (
        float(each)
        for each in re.search(r"travel (\S+) mm, swing (\S+) mm, along (\S+) deg over u (\S+) mm v (\S+) mm", run["stroke"]).groups()
    )
    said = re.search(
        rf"\(u (\S+), v (\S+) {units}\), strokes of (\S+) {units}, swinging (\S+) {units} sideways, (\S+) a minute.* Takes off (\S+) nm where most; (.*)",
        line,
    )
    return (
        said is not None
        and [float(each) for each in said.groups()[:4]]
        == pytest.approx([inches(units)(each) for each in (u, v, travel, swing)], abs=0.0051)
        and agrees(said[6], [run["removed_nm"]])
        and agrees(said[7], [] if "like the inside" in said[7] else [run["rim_ratio"]])
        and any(
            abs((90.0 - 30.0 * int(hour) - along + 90.0) % 180.0 - 90.0) <= 15.0 for hour in re.findall(r"along \d+ to (\d+) o'clock", line)
        )
    )


def test_an_order(client, shop, told, units):
    """`order --json` of what was typed: glass, thickness, offset, light, tolerance, quote."""
    with shop.record() as record:
        order = record.get(Ordered, 1)
    answer = told("order", *options(order.told))
    same(order.found, answer)
    page, long = seen(client, "/orders/1", units), inches(units)
    glass, mirror, telescope, quote = answer["glass"], answer["mirror"], answer["telescope"], answer["quote"]
    page.line("| Glass", long(glass["minor_mm"]), long(glass["major_mm"]))
    page.line("| Thickness", long(answer["thickness_mm"]))
    page.line("| Offset", long(mirror["offset_mm"]))
    page.line("| The light needs", long(answer["minor_axis_mm"]))
    page.line("| Fully lit field", long(mirror["full_field_mm"]))
    page.line("| Shadow", 100.0 * mirror["obstruction"])
    page.line("| Telescope", long(telescope["aperture_mm"]), telescope["focal_length_mm"] / telescope["aperture_mm"])
    for name, kind in (("Power", "power"), ("Astigmatism", "astigmatism"), ("Irregularity RMS", "irregularity_rms")):
        page.line(f"| {name}", *(answer["tolerance"][how][f"{kind}_{unit}"] for how in ("alone", "together") for unit in ("nm", "bands")))
    shown = [
        row
        for row in answer["illumination"]
        if any(agrees(line, [long(row["field_radius_mm"]), 100.0 * row["fraction"], row["loss_mag"]]) for line in page.lines)
    ]
    assert len(shown) >= 5
    for row in shown:
        page.line("| ", long(row["field_radius_mm"]), 100.0 * row["fraction"], row["loss_mag"])
    for line in quote["lines"]:
        page.line(f"| {line['name'].capitalize()}", line["cost"])
    page.line("| Margin", quote["margin"])
    page.line("| Ask", quote["price"], quote["price_spread"])
    page.done()


def test_a_reading(client, shop, told, tmp_path):
    """`read --json` of the photograph with the settings that were typed: figures, budget, bands, contrast."""
    with shop.record() as record:
        reading, (taken,) = record.get(ReadingEntry, 1), photographs_of(record, 1)
    (tmp_path / taken.name).write_bytes(shop.photos.read(taken.sha256))
    answer = told("read", tmp_path / taken.name, *options(reading.told))
    same(reading.found, answer)
    page, surface, doubt = seen(client, "/readings/1"), answer["surface"], answer["uncertainty"]
    page.line("G-1", answer["bands_across"], 100.0 * answer["contrast"])
    for words, name in (("Peak to valley", "pv_nm"), ("RMS", "rms_nm"), ("Power", "power_nm"), ("Astigmatism", "astigmatism_nm")):
        page.line(f"| {words}", surface[name], doubt[name])
    page.line("| | highest at the rim along", surface["astigmatism_axis_deg"])
    page.line("| Irregularity", surface["irregularity_pv_nm"], doubt["irregularity_pv_nm"])
    page.line("| | ", surface["irregularity_rms_nm"], doubt["irregularity_rms_nm"])
    page.line("| Edge,", surface["edge_zone_mm"], surface["edge_nm"], doubt["edge_nm"])
    budget_lines(page, answer["budget"], figure="pv_nm", total=doubt["pv_nm"])
    bars = [float(each) for each in re.findall(r'class="(?:part|all)" width="([\d.]+)%"', client.get("/readings/1").text)]
    terms = sorted((each["by_figure"]["pv_nm"] for each in answer["budget"]), reverse=True)
    assert bars == pytest.approx([100.0 * each / doubt["pv_nm"] for each in (*terms, doubt["pv_nm"])], abs=0.051)
    for name, typed in (("Pencil mark, clock hour", "mark"), ("Gap thicker toward", "thicker")):
        page.lines.remove(f"| {name} | {reading.told[typed]}")
    (program,) = page.lines  # the name of the photograph, and the version
    assert program.startswith("Photographs: bands.jpg. Straightband")
    assert page.wrong == []


def test_a_back(client, shop, told, tmp_path, grid_photographs, units):
    """`clear --json` of both photographs of the grid with the minutes that were typed: share, grey places, roughness, minutes to go."""
    names = [tmp_path / "grid-8min.jpg", tmp_path / "grid-12min.jpg"]
    for name, data in zip(names, grid_photographs, strict=True):
        name.write_bytes(data)
    answer = told("clear", names[0], "--minor", "90mm", "--mark", "12", "--polished", "8min", "--after", "12min", names[1])
    with shop.record() as record:
        same(record.get(Clearing, 1).found, answer, but=("written",))
    page, long = seen(client, "/pieces/2/back", units), inches(units)
    share = (100.0 * answer["clear_fraction"], 100.0 * answer["clear_fraction_uncertainty"])
    page.line("G-2, ellipse", long(90.0), long(90.0 * 2.0**0.5))
    page.line("Not clear yet", *share)
    page.line("Next", answer["minutes_to_clear"], answer["minutes_to_clear_low"], answer["minutes_to_clear_high"])
    first, last = answer["photographs"]
    page.line("After", last["minutes"], *share)
    page.line("| Clear |", *share)
    for number, place in enumerate(answer["unclear_places"], start=1):
        page.line(
            f"| Grey place {number}",
            *(long(each) for each in (2.0 * place["radius_mm"], 2.0 * place["radius_uncertainty_mm"], place["u_mm"], place["v_mm"])),
        )
    page.line("| Roughness", answer["roughness_nm"], answer["roughness_uncertainty_nm"])
    page.line("| Contrast", answer["band_contrast_least"])
    page.line("| ", last["minutes"] - first["minutes"], 100.0 * last["clear_fraction"], 100.0 * last["clear_fraction_uncertainty"])
    page.line("| ", 8.0, 100.0 * first["clear_fraction"], 100.0 * first["clear_fraction_uncertainty"])
    assert [line for line in page.lines if "A4 A3" not in line] == []
    assert page.wrong == []


def test_a_plate_of_pads(client, shop, told, monkeypatch, units):
    """`pads --json` of what was typed: pads, packs, evenness, strokes, rates by radius."""
    monkeypatch.setattr(evened, "ROUNDS", 0)  # as the record's plate was laid
    with shop.record() as record:
        plate = record.get(PlateEntry, 1)
    answer = told("pads", *options(plate.told, but=("piece", "paper")))
    same(plate.found, answer, but=("written",))
    page, long = seen(client, "/pads/1", units), inches(units)
    page.line("It clears last", long(answer["clears_last_at_mm"]), 100.0 * answer["centre_lag"])
    page.line("| Pads", answer["pads_used"], sum(each["cut"] == "whole" for each in answer["piece_kinds"]))
    page.line("| Packs", answer["packs"], answer["cost"])
    page.line("| Covered", 100.0 * answer["coverage"])
    page.line("| Fastest to slowest", answer["evenness"], answer["evenness_uncertainty"], 1)
    page.line("| With pads in rows", answer["evenness_naive"], 1)
    page.line("| Stroke", long(answer["stroke"]["stroke_mm"]), answer["stroke"]["strokes_per_min"])
    page.line("| Turns a minute", answer["stroke"]["spindle_rpm"], answer["stroke"]["top_rpm"])
    better = answer["better_stroke"]
    page.line("| Evener", long(better["stroke_mm"]), long(better["side_mm"]), better["evenness"], 1)
    page.line("| The rim gets to", long(answer["mirror_reach_mm"]), long(answer["plate_radius_mm"]))
    for each in answer["rate_by_radius"]:
        page.line("| ", long(each["radius_mm"]), each["rate"], each["uncertainty"])
    page.done()


def test_a_box(client, told, units):
    """`box --json` for the same largest piece: every measure of the box."""
    answer = told("box", "--largest", "200mm", "--light", "sodium")
    page, long = seen(client, "/box?largest=200mm&light=sodium", units), inches(units)
    plate, inside = answer["plate_slot"], answer["inside_mm"]
    page.line("| Inside", *(long(inside[name]) for name in ("length", "width", "height")))
    page.line("| Axis from the back wall", long(inside["axis_from_back"]))
    page.line("| Hole in the lid", long(answer["hole_mm"]))
    page.line("| Plate at", long(plate["length_mm"]), long(plate["width_mm"]))
    page.line("| Its thickness", long(plate["thickness_mm"]))
    page.line("| Slot width", long(plate["slot_mm"]))
    page.line("| Plate's ends", long(plate["low_end_mm"]), long(plate["high_end_mm"]))
    page.line("| Shift and ghost", long(plate["shift_mm"]), long(plate["ghost_mm"]))
    page.line("| Diffuser", long(answer["diffuser"]["side_mm"]))
    page.line("| Camera above the faces", long(answer["eye_distance_mm"]))
    page.line("| False hollow it makes", answer["false_power_nm"], answer["gap_um"])
    page.line("| Gap with half the contrast", answer["lamp_gap_limit_um"])
    page.line("| Contrast to expect", 100.0 * answer["contrast"]["expected"])
    page.done()


def test_three_flats(client, shop, told, tmp_path, pair_maps):
    """`threeflat --json` of the maps of the pairs: figures of each flat, its budget, and what the pairs leave over."""
    for name, data in pair_maps.items():
        (tmp_path / f"{name}.npz").write_bytes(data)
    answer = told("threeflat", *(tmp_path / f"{name}.npz" for name in pair_maps), "--order", "2", "--measured", "2026-03-03")
    with shop.record() as record:
        same(record.get(FlatTest, 1).found, answer, but=("maps",))
    page = seen(client, "/flats/tests/1")
    unknown = answer["unknowns"] - answer["rank"]
    page.line("These maps leave", unknown, answer["unknowns"])
    names = {
        "PV": "pv_nm",
        "RMS": "rms_nm",
        "power": "power_nm",
        "astigmatism": "astigmatism_nm",
        "irregularity PV": "irregularity_pv_nm",
        "irregularity RMS": "irregularity_rms_nm",
    }
    for flat in answer["flats"]:
        page.line("Heights sure to", flat["uncertainty_nm"])
        for words, name in names.items():
            page.line(f"| {words} |", flat[name], flat["uncertainty"][name])
        page.line("| edge |", flat["edge_nm"])
        budget_lines(page, flat["budget"], figure="pv_nm", total=flat["uncertainty"]["pv_nm"])
    for pair in answer["pairs"]:
        page.line(f"| {pair['label']} |", pair["misfit_rms_nm"])
    page.done()
