"""The reference page: self-contained, small, and nothing that the package declares is missing."""

import inspect
import json
import re
import shutil
import subprocess
from html.parser import HTMLParser

import pytest

import ductsim as ds
from ductsim.commands.registry import by_group, places
from ductsim.crop.box import Box
from ductsim.description.equipment import Belt, ConstantAir, Section, Weather
from ductsim.files.headers import HEADER, OF_STRETCH
from ductsim.files.reader import FREE_KEYS, TOP
from ductsim.files.templates import EACH_UNIT, OF_UNIT
from ductsim.fixes.file import KEYS as FIX_KEYS
from ductsim.laws.card import card_of
from ductsim.measures import MEASURES
from ductsim.parts.declare import Number
from ductsim.parts.documented import number_rows
from ductsim.parts.published import check_rows
from ductsim.questions.vocabulary import WORDS
from ductsim.readings.table import COLUMNS
from ductsim.reference.docstrings import entry_docs, html, sections
from ductsim.reference.page import slug

LARGEST = 1_000_000  # bytes
TOP_TABLES = {"part": "part", "drive": "drive", "each_unit": "each-unit"}


class Read(HTMLParser):
    """What stands in the page: ids, links, the texts of rows, and whatever reaches for something outside."""

    VOID = ("meta", "link", "input", "br")

    def __init__(self, text):
        super().__init__()
        self.ids, self.links, self.outside, self.open, self.rows = [], [], [], [], {}
        self.row = ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        if "id" in attrs:
            self.ids.append(attrs["id"])
        target = attrs.get("href") or attrs.get("src") or ""
        if target.startswith("#"):
            self.links.append(target[1:])
        elif target and target != "data:,":
            self.outside.append(target)
        if tag not in self.VOID:
            self.open.append(tag)
        if tag == "tr":
            self.row = attrs.get("id", "")
            self.rows[self.row] = ""

    def handle_endtag(self, tag):
        assert self.open.pop() == tag, (tag, self.getpos())

    def handle_data(self, data):
        if self.open[-3:].count("tr") or "tr" in self.open:
            self.rows[self.row] += data + "|"


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    path = tmp_path_factory.mktemp("reference") / "ductsim.html"
    ds.docs(path)
    return path


@pytest.fixture(scope="module")
def text(place):
    return place.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def found(text):
    return Read(text)


def test_it_is_small_and_reaches_for_nothing(text, found):
    assert len(text.encode()) < LARGEST
    assert found.outside == []
    assert not re.search(r"https?://|@import|url\(|fetch\(|XMLHttp|<iframe|<object", text)
    assert "default-src 'none'" in text
    assert found.open == []


def test_every_anchor_is_its_own_and_every_link_arrives(found):
    assert len(found.ids) == len(set(found.ids))
    assert set(found.links) <= set(found.ids)


def test_nothing_of_this_run_is_in_it(text):
    """No addresses of objects, no names of files of the machine that made it: two pages are equal."""
    assert not re.search(r" at 0x[0-9a-f]+|_MISSING_TYPE|/home/|\.venv|site-packages", text)
    from ductsim.reference import page

    assert page(by_group()) == text


@pytest.mark.parametrize("kind", ds.extend.KINDS)
def test_every_number_of_every_kind_is_told(kind, found):
    cls = ds.extend.KINDS[kind]
    for name, declared in cls.declared.items():
        row = found.rows[slug("kind", kind, name)]
        assert declared.doc.replace("`", "") in row
        if isinstance(declared, Number):
            assert declared.measure in row.split("|")
            for bound in re.findall(r"-?\d[\d.e-]*", declared.allowed):
                assert bound in row
            if declared.spread:
                assert f"{100 * declared.spread:g} %" in row


@pytest.mark.parametrize(
    ("table", "cls"),
    [
        ("air", Weather),
        ("constant-air", ConstantAir),
        ("drive", Belt),
        ("tapping", Section),
        ("crop", ds.Crop),
        ("fill", Box),
    ],
)
def test_every_number_of_equipment_is_told(table, cls, found):
    for row in number_rows(cls):
        told = found.rows[slug("table", table, row["key"])]
        assert row["meaning"] in told
        assert row["default"] in told.split("|")


def test_every_key_of_a_file_is_told(found):
    ids = set(found.ids)
    for table, keys in {
        **FREE_KEYS,
        "unit": OF_UNIT,
        "each-unit": EACH_UNIT,
        "header": HEADER,
        "header-stretch": (*OF_STRETCH, *ds.Duct.declared),
        "fixes": FIX_KEYS,
        "readings": COLUMNS,
    }.items():
        for key in keys:
            assert slug("table", table, key) in ids, (table, key)
    for key in TOP:
        assert {slug("table", TOP_TABLES.get(key, key)), slug("table", "top", key)} & ids, key
    for kind in ds.extend.KINDS.values():
        assert slug("kind", kind.kind) in ids


def test_a_fan_by_its_wheel_or_one_point_is_told(found):
    for key, names in ds.Fan.assumed.items():
        row = found.rows[slug("kind", "fan", key)]
        assert all(name in row for name in names)


def test_every_measure_is_told(found):
    told = " ".join(found.rows.values())
    for spelling in MEASURES:
        assert spelling in told


def test_every_key_that_a_tapping_takes_is_told(found):
    """The reader itself says what it takes."""
    machine = {"format": 1, "part": [], "tapping": [{"name": "door", "wrong": 1}]}
    with pytest.raises(ds.InputError) as err:
        ds.Machine.of(machine)
    known = re.findall(r"\w+", str(err.value).partition("allowed:")[2] or str(err.value))
    for key in ("name", "path", "end", "access", "minutes", "note", "area"):
        assert key in known
        assert slug("table", "tapping", key) in found.ids


def test_words_commands_names_laws_and_sources_are_all_there(found, text):
    ids = set(found.ids)
    for words in WORDS:
        assert slug("word", words) in ids
    for name in places():
        assert slug("command", name) in ids
    for name in ds.__all__:
        assert name.startswith("__") or slug("name", name) in ids
    for name in ds.extend.LAWS:
        assert slug("law", name) in ids
    for key, entry in ds.SOURCES.items():
        assert slug("source", key) in ids
        assert f"@misc{{{key}," in text
        assert entry.standing in text


def test_every_option_of_a_command_is_told(text):
    for group in by_group().values():
        for command in group:
            part = text.partition(f'id="{slug("command", command.name)}"')[2].partition("</article>")[0]
            for action in command.parser()._actions:
                for option in action.option_strings[:1]:
                    assert option == "-h" or f"<code>{option}" in part, (command.name, option)


def test_every_published_value_stands_beside_ours(text):
    for row in check_rows():
        assert f"{row['published']:.5g}" in text
        assert f"{row['ours']:.5g}" in text
    for function in ds.extend.LAWS.values():
        assert card_of(function).valid.split(";")[0].split("<")[0][:40] in text


# ---- docstrings


def test_sections_of_a_docstring():
    doc = """Head.

    More with `code` and a <sign>.

    - one
    - two
      and more

    Parameters
    ----------
    first, second : float
        Two numbers.

        More of them.
    third

    Returns
    -------
    float

    And a sentence of
    its own.

    Examples
    --------
    >>> 1 + 1
    2
    """
    doc = inspect.cleandoc(doc)
    assert [s.title for s in sections(doc)] == ["", "Parameters", "Returns", "Examples"]
    assert entry_docs(doc) == {
        "first": "Two numbers. More of them.",
        "second": "Two numbers. More of them.",
        "third": "",
    }
    made = html(doc, {"code": "here"}.get)
    assert '<a href="#here"><code>code</code></a> and a &lt;sign&gt;.' in made
    assert "<li>one</li><li>two   and more</li>" in made.replace("two  and", "two   and")
    assert "<dd><p>Two numbers.</p><p>More of them.</p></dd>" in made
    assert "<p>And a sentence of its own.</p>" in made
    assert "<pre>&gt;&gt;&gt; 1 + 1\n2</pre>" in made
    assert "Parameters" not in html(doc, {}.get, ("Parameters",))


@pytest.mark.parametrize("kind", ds.extend.KINDS)
def test_help_of_a_part_lists_its_numbers(kind):
    cls = ds.extend.KINDS[kind]
    told = entry_docs(inspect.getdoc(cls))
    assert list(told) == list(cls.declared)
    for name, declared in cls.declared.items():
        assert told[name].startswith(declared.doc)


def test_help_gives_measure_range_default_and_spread():
    doc = inspect.getdoc(ds.Duct)
    assert "roughness : m, at least 0 m and at most 0.02 m, default 0.09 mm; usual spread 30 %\n" in doc
    assert "length : m, above 0 m, required; usual spread 2 %\n    length along the centre line\n" in doc
    assert 'shape : "rectangular" or "flat oval", default "rectangular"\n' in doc


def test_help_of_a_part_of_ones_own():
    @ds.extend.fields("thing")
    class Bare(ds.Part):
        size: float = ds.number("m", above=0, spread=0.1, doc="its size")

    @ds.extend.fields("thing")
    class Told(ds.Part):
        """Says it itself.

        Parameters
        ----------
        size : float
        """

        size: float = ds.number("m", above=0, doc="its size")

    assert inspect.getdoc(Bare) == (
        "Parameters\n----------\nsize : m, above 0 m, required; usual spread 10 %\n    its size"
    )
    assert inspect.getdoc(Told).count("size") == 1


# ---- the bibliography


def test_bibtex_holds_what_is_known_and_no_more():
    entry = ds.SOURCES["winoto2000"].bibtex()
    assert entry.startswith("@misc{winoto2000,\n  author = {Winoto and Li and Shah},\n")
    assert "  year = {2000},\n" in entry
    assert "  doi = {10.1061/(ASCE)0733-9429(2000)126:2(150)},\n" in entry
    assert "author = {Abushakra and Culp and others}" in ds.SOURCES["abushakra2004"].bibtex()
    assert "Industrial \\& Engineering" in ds.SOURCES["clamond2009"].bibtex()
    for source in ds.SOURCES.values():
        made = source.bibtex()
        assert made.count("{") == made.count("}"), source.key
        assert ("  author = " in made) == bool(source.authors)
        assert ("  year = " in made) == bool(source.year)
        assert ("  doi = " in made) == bool(re.search(r"\bdoi 10\.", source.where))
        assert source.standing in made


def test_bibtex_of_one_machine():
    listed = ds.demo("bench").sources()
    made = re.findall(r"@misc\{(\w+),", listed.bibtex())
    assert made == [row["source"] for row in listed.rows()]


# ---- the command


def test_docs_writes_the_page_and_says_so(run, tmp_path, text):
    place = tmp_path / "page.html"
    status, out, err = run("docs", str(place))
    assert (status, err) == (0, "")
    assert str(place) in out
    assert place.read_text(encoding="utf-8") == text


@pytest.mark.parametrize("name", ["page.txt", "page", "."])
def test_docs_refuses_another_name(run, tmp_path, name):
    status, out, err = run("docs", str(tmp_path / name))
    assert (status, out) == (2, "")
    assert "does not end in .html" in err
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("path", [None, 5, b"page.html"])
def test_docs_refuses_what_is_no_name(path):
    with pytest.raises(ds.InputError, match="no name of a file"):
        ds.docs(path)


def test_docs_never_writes_through_a_link(run, tmp_path):
    (tmp_path / "kept.html").write_text("kept", encoding="utf-8")
    (tmp_path / "page.html").symlink_to("kept.html")
    status, _, err = run("docs", str(tmp_path / "page.html"))
    assert status == 2
    assert "kept.html" in err
    assert (tmp_path / "kept.html").read_text(encoding="utf-8") == "kept"


def test_docs_as_json(run, tmp_path):
    status, out, _ = run("docs", str(tmp_path / "page.html"), "--json")
    assert status == 0
    assert "page.html" in json.loads(out)["answer"][0]


# ---- in a browser

SEARCH = """<script>
var box = document.getElementById("words");
box.value = "flat-oval duct kinds";
box.dispatchEvent(new Event("input"));
</script></body>"""


@pytest.mark.browser
def test_the_search_in_a_browser(text, tmp_path):
    """Chromium without a window: what is shown after a search is what holds its words."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    assert program, "install chromium for the tests marked browser"
    place = tmp_path / "page.html"
    place.write_text(text.replace("</body>", SEARCH), encoding="utf-8")
    done = subprocess.run(
        [program, "--headless", "--no-sandbox", "--disable-gpu", "--dump-dom", place.as_uri()],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    entries = re.findall(r'<(?:article|tr) class="e[^"]*" id="([^"]+)"( hidden="")?', done.stdout)
    assert [name for name, hidden in entries if not hidden] == ["kind.duct"]
    assert len(entries) > 200
    assert f"1 of {len(entries)} entries" in done.stdout
    assert '<ul id="hits"></ul>' in done.stdout  # no entry has all three words in its name


def test_a_machine_gives_its_references_as_a_bibliography():
    found = ds.demo("bench").sources()
    entries = found.bibtex()
    assert entries.count("\n}") == len(found.used)
    assert all(ds.SOURCES[key].bibtex() in entries for key in found.used)
