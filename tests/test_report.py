"""The report: one file that needs nothing else, with what was given and no more, whatever the names."""

import html
import os
import re
from html.parser import HTMLParser

import numpy as np
import pytest
from shown_machines import EVIL, LONG, harmful, leaky_bench
from test_plots import BENCH_FIXES, readings
from test_style import contrast

import ductsim as ds
from ductsim.cautions import ALWAYS
from ductsim.crop.crop import with_crop
from ductsim.display import svg
from ductsim.errors import InputError, NoOperatingPoint, UnknownName
from ductsim.fixes.several import Several
from ductsim.machine.demos import demo_file
from ductsim.reports.findings import Findings
from ductsim.reports.first import first_sheet
from ductsim.reports.jobs import proved_by
from ductsim.reports.numbers import assumption_rows, part_rows, together
from ductsim.speed.limit import speed_limit

VOID = {"meta", "link", "br", "img", "input", "hr"}


class Page(HTMLParser):
    """A page read by the standard library: balanced tags, attributes, text."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.open, self.tags, self.pieces, self.rows = [], [], [], []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))
        if tag not in VOID:
            self.open.append(tag)
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_startendtag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" in self.open:
            return
        self.pieces.append(data)
        if "td" in self.open or "th" in self.open:
            self.rows[-1][-1] += data

    @property
    def text(self):
        return " ".join(" ".join(self.pieces).split())

    def ids(self):
        return [a["id"] for _, a in self.tags if "id" in a]

    def sections(self):
        return [a["id"] for tag, a in self.tags if tag == "section" and "id" in a]


def written(folder, machine, **given):
    """A report as text and as a page."""
    place = folder / "report.html"
    ds.report(machine, place, **given)
    text = place.read_text(encoding="utf-8")
    return text, Page(text)


@pytest.fixture(scope="module")
def bench():
    return leaky_bench()


@pytest.fixture(scope="module")
def plain(tmp_path_factory, bench):
    return written(tmp_path_factory.mktemp("plain"), bench)


@pytest.fixture(scope="module")
def full(tmp_path_factory, bench):
    return written(
        tmp_path_factory.mktemp("full"), bench, fixes=BENCH_FIXES, readings=readings(bench), budget="20 min"
    )


@pytest.fixture(scope="module")
def picker(tmp_path_factory):
    return written(tmp_path_factory.mktemp("picker"), ds.demo("picker"))


@pytest.fixture(scope="module")
def every(plain, full, picker):
    return [plain, full, picker]


# ---- what it holds


def test_only_the_sections_for_what_was_given(plain, full, picker):
    folded = ["machine", "numbers", "sources"]
    assert plain[1].sections() == ["first", "units", "limits", *folded]
    assert full[1].sections() == [
        "first", "units", "limits", "readings", "fixes", "all-fixes", "all-readings", "next", *folded,
    ]  # fmt: skip
    # its file holds a crop and a box
    assert picker[1].sections() == ["first", "units", "limits", "fill", "margins", *folded]


def part_of(text, start, end):
    """What is read between two ids."""
    return html.unescape(
        re.sub("<[^>]*>", " ", text[text.index(f'id="{start}"') : text.index(f'id="{end}"')])
    )


def test_the_finding_comes_first(plain, full, bench):
    for text, _ in (plain, full):
        finding = part_of(text, "finding", "jobs")
        assert f"Unit {bench.solve().weakest} is weakest" in finding and "nine of ten" in finding
    assert "No readings go with it" in part_of(plain[0], "finding", "jobs")
    assert "No fixes go with it" in part_of(plain[0], "jobs", "cautions")
    fit = ds.fit(bench, readings(bench))
    assert fit.sentences()[0] in part_of(full[0], "finding", "jobs")  # no unknown stands out here


def test_jobs_have_minutes_gain_and_proof(full, bench):
    text, page = full
    fit = ds.fit(bench, readings(bench))
    found = ds.compare(fit, BENCH_FIXES, budget="20 min")
    heads = next(row for row in page.rows if row[:2] == ["", "job"])
    jobs = [row for row in page.rows if row[0].isdigit() and row[-1] == "" and len(row) == len(heads)]
    assert [row[1] for row in jobs] == found.order and found.order
    solved = found.sure
    for row in jobs:
        fix = next(fix for fix in BENCH_FIXES if fix.name == row[1])
        assert float(row[2]) == fix.minutes
        assert row[-2]
    last = float(jobs[-1][heads.index("then")].split()[0])
    after = np.median(solved.answers.answer[solved.row(found.recommended)])
    assert last == pytest.approx(after, rel=0.02)
    assert f"{solved.minutes[solved.row(found.recommended)]:g} min" in part_of(text, "jobs", "cautions")


def test_a_refused_fix_is_said_to_be_refused(full):
    text, _ = full
    jobs = part_of(text, "jobs", "cautions")
    assert "Not allowed: far too fast." in jobs and "Not computed: nonsense." in jobs
    assert "far too fast is not allowed" in part_of(text, "fixes", "all-fixes")


def test_the_first_sheet_says_how_fast(picker):
    text, _ = picker
    machine = ds.demo("picker")
    told = part_of(text, "speed", "cautions")
    assert "before unit 4 blocks" in told and "not calibrated" in told
    now = float(re.search(r"Now ([0-9.]+) km/h", told)[1])
    # no digit that the band does not support
    assert now == pytest.approx(3.6 * speed_limit(with_crop(machine, None)), abs=0.51)


def test_nothing_is_said_twice(every):
    for text, _ in every:
        said = re.findall(r"<(?:p|li)(?: [^>]*)?>(.*?)</(?:p|li)>", text, re.DOTALL)
        assert len(said) > 10
        assert len(said) == len(set(said))


def test_what_was_seen_calibrates_the_speed():
    machine = ds.demo("picker")
    seen = demo_file("picker").with_name("picker_seen.csv")
    found = Findings(machine, seen=seen, field=demo_file("picker").with_name("picker_field.csv"))
    assert found.crop.sentences() == ds.calibrate(machine, seen).sentences()
    assert found.along_a_row.sentences() == ds.field_pass(machine, found.field, crop=found.crop).sentences()
    assert "calibrated on the machine as described" in first_sheet(found).speed[0]
    with pytest.raises(InputError, match="report, seen: there is no crop"):
        Findings(ds.demo("bench"), seen=seen)


def test_without_readings_numbers_have_the_digits_of_the_usual_spreads(bench):
    found = Findings(bench, fixes=BENCH_FIXES[:1])
    sheet = first_sheet(found)
    said = re.search(r"weakest: (\d+) Pa", sheet.finding[0])[1]
    assert said.endswith("0") and f"goes from {said} Pa to {sheet.jobs[0].after}" in sheet.total[0]
    refused = first_sheet(Findings(bench, fixes=[BENCH_FIXES[3]]))
    assert refused.jobs == [] and refused.remarks[1:] == ["Not allowed: far too fast."]


def test_all_jobs_are_done_at_once(bench):
    both = Several("both", fixes=BENCH_FIXES[:2])
    one = bench.change({"left leak.area": 0.0, "right leak.area": 0.0})
    assert both.on(bench).numbers == one.numbers


def test_the_reading_that_proves_a_job(bench):
    told = proved_by(bench, BENCH_FIXES[0], "metric")
    places = {name: bench.solve().ask(f"tapping {name}") for name in bench.layout.tapping}
    after = BENCH_FIXES[0].on(bench).solve()
    where, first, then = re.match(r"(.*?): ([\d,.]+) → ([\d,.]+) Pa of vacuum", told).groups()
    assert float(first.replace(",", "")) == pytest.approx(-places[where], rel=0.2)
    change = float(then.replace(",", "")) - float(first.replace(",", ""))
    assert change == pytest.approx(places[where] - after.ask(f"tapping {where}"), rel=0.25)
    assert proved_by(bench, BENCH_FIXES[2], "metric").startswith("fan: 1,500 → 1,700 rpm")
    nothing = ds.Fix("nothing", change={"left leak.area": "x0.9999"})
    assert proved_by(bench, nothing, "metric") == "too small for a gauge"


def test_units_are_those_of_the_state(plain, bench):
    rows = [row for row in plain[1].rows if row and row[0] in ("left", "right") and len(row) == 7]
    for row, own in zip(rows, bench.solve().rows(), strict=True):
        assert row[0] == own["unit"]
        assert float(row[1]) == pytest.approx(own["vacuum_Pa"], abs=0.5)
        assert float(row[3]) == pytest.approx(own["opening_air_kg_s"], abs=5e-4)


def test_fixes_are_ranked_with_minutes_and_gains(full):
    found = [row for row in full[1].rows if row and row[0] in {fix.name for fix in BENCH_FIXES}]
    first = {}
    for row in found:
        first.setdefault(row[0], row)
    assert set(first) == {fix.name for fix in BENCH_FIXES}
    assert first["seal left"][1] == "10"
    assert "not allowed" in first["far too fast"][-1] and "not computed" in first["nonsense"][-1]


def names_in(text):
    """The names that a gathered list stands for."""
    out = set()
    for words in re.split(r", (?=[a-z])| and (?=[a-z])", text):
        found = re.fullmatch(r"(.*?)((?: \d+(?:,| to| and)?)*)", words)
        base, numbers = found.group(1), found.group(2)
        if " to " in numbers:
            low, high = map(int, re.findall(r"\d+", numbers))
            numbers = " ".join(map(str, range(low, high + 1)))
        out |= {f"{base} {n}" for n in re.findall(r"\d+", numbers)} or {base}
    return out


@pytest.mark.parametrize("demo", ["picker", "suction", "bench"])
def test_every_number_of_the_machine_stands_in_one_row(demo):
    machine = ds.demo(demo)
    stated = [
        (name, row["number"], row["origin"])
        for row in assumption_rows(machine)
        for name in names_in(row["of"])
    ]
    wanted = set()
    for row in machine.describe().rows():
        obj, _, number_key = row["address"].partition(".")
        wanted.add((obj, re.sub(r"\[\d+\]$", "", number_key).replace("_", " "), row["origin"]))
    assert len(stated) == len(set(stated))
    assert set(stated) == wanted


def test_numbers_and_origins_are_on_the_page(every, bench):
    rows = assumption_rows(bench)
    assert sum(row["origin"] == "given" for row in rows) > 0 < sum(row["origin"] == "default" for row in rows)
    text = every[0][1].text
    assert all(row["taken_as"] in text and row["of"] in text for row in rows)


def test_names_are_gathered():
    assert together(["hose 1", "hose 2", "hose 3", "hose 4"]) == "hose 1 to 4"
    assert together(["hose 1", "hose 3", "fan"]) == "hose 1 and 3 and fan"
    assert together(["hose", "hose 2"]) == "hose and hose 2"
    assert together(["left fan", "right fan"]) == "left fan and right fan"
    assert together(["hose 01", "4"]) == "hose 01 and 4"


def test_alike_numbers_share_a_row():
    rows = assumption_rows(ds.demo("picker"))
    assert len(rows) < 0.5 * len(ds.demo("picker").numbers)
    diameters = [row for row in rows if row["number"] == "diameter"]
    assert {row["taken_as"] for row in diameters} == {"180 mm", "276.4 mm"}
    assert diameters[0]["of"] == "hose 1 to 5"
    points = next(row for row in rows if row["number"] == "total pressure")
    assert points["taken_as"] == "6,000, 6,350, 5,850, 4,900, 3,500, 1,650 Pa"


def test_numbers_in_inch_measures():
    rows = assumption_rows(ds.demo("picker"), "inch")
    assert "7.087 in" in {row["taken_as"] for row in rows if row["number"] == "diameter"}
    assert not any(row["taken_as"].endswith((" mm", " Pa", " cm2", " m")) for row in rows)


def test_columns_show_their_range(bench):
    machine = bench.change({"left leak.area": np.array([1e-3, 2e-3, 6e-3])})
    row = next(
        row for row in assumption_rows(machine) if row["of"] == "left leak" and row["number"] == "area"
    )
    assert row["taken_as"] == "20 cm2 (the middle of 10 to 60 cm2)"


def test_every_part_tapping_source_and_caution(every, bench):
    text = every[0][1].text
    for part in bench.layout.parts:
        assert part.name in text
    assert [row["between"] for row in part_rows(bench)][:2] == ["plenum to outside", "outside to left head"]
    assert [row["between"] for row in part_rows(ds.demo("picker")) if row["part"] == "jet 1"] == [
        "motive: jet box 1, suction: door 1, discharge: foot 1"
    ]
    for row in bench.sources().rows():
        assert " ".join(row["reference"].split()) in text
    for _, page in every:
        assert page.text.count(ALWAYS) == 1
        assert page.text.rindex(ALWAYS) > page.text.rindex("Lint burns")


def test_advice_carries_its_cautions_once(full):
    text, page = full
    first = part_of(text, "cautions", "units")
    for caution in ds.cautions_for(["seal", "speed", "measure"]):
        assert caution in first
        assert page.text.count(caution) == 1


def test_where_it_came_from(picker):
    text, page = picker
    assert ds.demo("picker").sha256 in text
    assert f"ductsim {ds.__version__}" in page.text
    assert re.search(r"computed on \d{4}-\d\d-\d\d", page.text)


# ---- one file that needs nothing else


def test_nothing_is_fetched(every):
    for text, page in every:
        for tag, attributes in page.tags:
            assert tag not in ("script", "iframe", "object", "embed", "base", "form")
            for name in ("src", "href", "xlink:href", "action", "data"):
                value = attributes.get(name, "#")
                assert value.startswith(("#", "data:")), (tag, name, value)
            assert not any(name.startswith("on") for name in attributes)
        assert "default-src 'none'" in text
        assert not re.search(r"@import|url\((?!#|&quot;|'?data:)", text)
        addresses = set(re.findall(r"https?://[^\s\"'<>]+", text))
        assert all(a.startswith("http://www.w3.org/") for a in addresses)  # names of SVG, nothing to fetch


def test_ids_are_the_only_ones_and_lead_somewhere(every):
    for text, page in every:
        ids = page.ids()
        assert len(ids) == len(set(ids))
        used = set(re.findall(r'(?:url\(|href=")#([^)"]+)', text))
        assert used <= set(ids)


def test_figures_are_inline_and_have_words(every):
    for text, page in every:
        pictures = [a for tag, a in page.tags if tag == "svg"]
        assert len(pictures) == text.count("<figure") >= 2
        assert all(a["role"] == "img" and len(a["aria-label"]) > 10 and a["viewbox"] for a in pictures)
        assert "<metadata" not in text and "<?xml" not in text and "<!--" not in text


def test_tables_say_which_way_their_heads_go(every):
    for _, page in every:
        heads = [a for tag, a in page.tags if tag == "th"]
        assert heads and all(a.get("scope") == "col" for a in heads)


def test_it_is_ready_for_phone_and_paper(every):
    text = every[0][0]
    assert 'name="viewport"' in text and "@media print" in text and "@page" in text
    assert '<html lang="en">' in text and '<meta charset="utf-8">' in text


def test_letters_stand_out(every):
    """Contrast of 7 to 1 for text, 4.5 for headings of cautions (accessibility guidelines, from memory)."""
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", every[0][0]))
    for back in ("#ffffff", colours["tint"]):
        assert contrast(colours["ink"], back) > 7.0
        assert (
            contrast(colours["soft"], back) > 7.0
            if back == "#ffffff"
            else contrast(colours["soft"], back) > 4.5
        )
        assert contrast(colours["mark"], back) > 4.5
        assert contrast(colours["deep"], back) > 4.5


# ---- names


def test_names_come_out_harmless_and_readable(tmp_path):
    machine = harmful()
    text, page = written(tmp_path, machine)
    assert "<script" not in text and "<img" not in text
    assert "&lt;script&gt;" in text
    for name in (EVIL, LONG, "R" * 200, machine.layout.title):
        assert name in page.text
    assert all(tag not in ("script", "img", "b") for tag, _ in page.tags)


def test_markup_in_files_names(tmp_path):
    odd = tmp_path / "a<b>&.toml"
    odd.write_text(demo_file("bench").read_text(encoding="utf-8"), encoding="utf-8")
    text, page = written(tmp_path, ds.Machine.read(odd))
    assert "a<b>&.toml" in page.text and "a<b>" not in text


# ---- how it is written


def test_files_are_read_when_paths_are_given(tmp_path):
    fixes = tmp_path / "fixes.toml"
    fixes.write_text(
        'format = 1\n[[fix]]\nname = "slower"\nminutes = 3\nchange = { "fan.speed" = "1400 rpm" }\n',
        encoding="utf-8",
    )
    _, page = written(tmp_path, ds.demo("bench"), fixes=fixes)
    assert "slower" in page.text and "fixes" in page.sections()


def test_inch_measures(tmp_path, bench):
    text, page = written(tmp_path, bench, measures="inch")
    assert "inH2O" in page.text and "lb/min" in page.text
    main = text[text.index("<main>") : text.index('id="numbers"')]
    assert not re.search(r"[0-9] Pa\b|\[Pa\]|\bkg/s\b", main)


def test_other_questions(tmp_path, bench):
    _, page = written(tmp_path, bench, fixes=BENCH_FIXES[:2], of="duct air left")
    assert "air in the duct of unit left" in page.text


def test_nothing_is_left_half_written(tmp_path, bench):
    place = tmp_path / "report.html"
    place.write_text("the old one", encoding="utf-8")
    shut = ds.Machine.of(
        {
            "format": 1,
            "title": "fed and shut",
            "air": {"density": 1.2},
            "part": [{"name": "a", "kind": "opening", "from": "box", "to": "outside", "area": 0.0,
                      "loss_coefficient": 1.0}],
            "supply": [{"node": "box", "mass_flow": 0.1}],
        }
    )  # fmt: skip
    with pytest.raises(NoOperatingPoint):
        ds.report(shut, place)
    assert place.read_text(encoding="utf-8") == "the old one"
    with pytest.raises(InputError, match="there is no such folder"):
        ds.report(bench, tmp_path / "no such folder" / "report.html")
    assert os.listdir(tmp_path) == ["report.html"]


def test_bad_calls(tmp_path, bench):
    place = tmp_path / "report.html"
    with pytest.raises(InputError, match=r"the machine has columns; one of its scenarios: machine\[0\]"):
        ds.report(bench.change({"left leak.area": np.array([1e-3, 2e-3])}), place)
    with pytest.raises(UnknownName, match="unknown system of measures 'imperial'"):
        ds.report(bench, place, measures="imperial")
    with pytest.raises(UnknownName, match="unknown question"):
        ds.report(bench, place, fixes=BENCH_FIXES[:1], of="vacuum of all")
    assert os.listdir(tmp_path) == []


def test_machines_without_units_or_fans(tmp_path):
    document = {
        "format": 1,
        "title": "bare",
        "air": {"density": 1.2},
        "part": [{"name": "a", "kind": "opening", "from": "outside", "to": "box", "area": "100 cm2",
                  "loss_coefficient": 1.5}],
        "hold": [{"node": "box", "pressure": "500 Pa"}],
    }  # fmt: skip
    text, page = written(tmp_path, ds.Machine.of(document))
    assert "The machine has no units." in page.text
    assert text.count("<figure") == 1


def test_a_drawing_too_large_is_left_out(tmp_path, monkeypatch):
    monkeypatch.setattr("ductsim.drawing.picture.MOST_PARTS", 3)
    text, page = written(tmp_path, ds.demo("bench"))
    assert "The air path is not drawn: drawing: 5 parts are too many to be drawn" in page.text
    assert 'id="drawing-' not in text


def test_a_figure_without_a_size_is_refused():
    with pytest.raises(ValueError, match="the figure has no size"):
        svg._opened("<svg>", "words")
