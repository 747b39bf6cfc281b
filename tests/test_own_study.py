"""A study of a user's own, all of it in this one file: a result, its presentation registered once, a command.

What follows by that one registration: text, HTML, JSON, tables, pictures, a section of a report, copies,
files, and a command.
"""

import copy
import html
import json
import pickle
from dataclasses import dataclass

import jsonschema
import numpy as np
import pytest
from matplotlib.figure import Figure

import ductsim as ds
from ductsim import cli
from ductsim.cautions import CAUTIONS
from ductsim.commands import registry
from ductsim.display.presentation import Plot
from ductsim.display.rows import Of, rows_of
from ductsim.errors import InputError, UnknownName
from ductsim.result import Note
from ductsim.terminal.command import Answer
from ductsim.terminal.envelope import schema
from ductsim.terminal.page import page
from ductsim.terminal.signature import Takes, study_command

# ---- the study: how much of the fans' power the air at the openings keeps


@dataclass(repr=False, eq=False)
class UsefulPower(ds.Result):
    """What the air that enters at each unit is worth, beside the power at the shafts."""

    machine: ds.Machine
    share_wanted: float
    useful: dict[str, float]
    shaft_power: float

    @property
    def share(self):
        return sum(self.useful.values()) / self.shaft_power


def useful_power(machine: ds.Machine, share_wanted: float = 0.25) -> UsefulPower:
    """How much of the fans' power the air at the openings keeps.

    Parameters
    ----------
    machine : Machine
    share_wanted : float
        The share that would be good.
    """
    state = machine.solve()
    useful = {unit: state.vacuum[unit] * state.ask(f"opening air {unit}") / 1.2 for unit in state.vacuum}
    return UsefulPower(machine, float(share_wanted), useful, sum(state.power.values()))


def tables(found):
    unit, power = (
        Of("unit", value=lambda own: own[0]),
        Of("useful_power", "W", "vacuum times volume", lambda own: own[1]),
    )
    return {"units": rows_of(found.useful.items(), unit, power)}


def sentences(found, measures):
    return [f"The air at the openings keeps {found.share:.1%} of the power at the shafts ({measures})."]


def notes(found):
    if found.share >= found.share_wanted:
        return []
    return [Note("Less than what would be good.", "low", "shaft power", found.share)]


def drawn(found, ax, measures):
    ax.bar(list(found.useful), list(found.useful.values()))


UsefulPower.show_by(
    tables=tables,
    sentences=sentences,
    notes=notes,
    cautions=lambda found: [CAUTIONS["lock_out"]],
    about=lambda found: f"{len(found.useful)} units",
    title="What becomes of the power",
    plots={"bars": Plot(drawn, "Useful power of every unit")},
)

COMMAND = study_command(
    useful_power,
    "Take it further",
    "ductsim useful-power demo:bench",
    takes={"share_wanted": Takes(metavar="SHARE", read=float)},
)


# ---- what comes of it


@pytest.fixture(scope="module")
def found():
    return useful_power(ds.demo("bench"))


def test_text_and_one_line(found):
    assert (
        str(found) == f"The air at the openings keeps {found.share:.1%} of the power at the shafts (metric)."
    )
    assert repr(found) == "<UsefulPower: 2 units>"
    assert found.heading() == "What becomes of the power"
    assert found.notes[0].about() == {"kind": "low", "place": "shaft power", "value": found.share}


def test_tables(found):
    frame = found.table()
    assert list(frame.columns) == ["unit", "useful_power_W"]
    assert frame["useful_power_W"].sum() == pytest.approx(found.share * found.shaft_power)
    assert frame.attrs["columns"] == {"useful_power_W": "vacuum times volume"}
    assert found.table("units", measures="inch").columns[1] == "useful power [hp]"
    with pytest.raises(UnknownName, match="unknown table 'unit'; did you mean 'units'"):
        found.table("unit")


def test_html_and_json(found):
    page = found._repr_html_()
    assert "<table>" in page and "keeps" in page and "<th" in page
    told = json.loads(found.to_json("inch"))
    assert told["result"] == "UsefulPower" and told["answer"][0].endswith("(inch).")
    assert told["tables"]["units"][0]["unit"] == next(iter(found.useful))
    assert told["notes"] == [{"text": str(found.notes[0]), **found.notes[0].about()}]
    assert told["cautions"] == [CAUTIONS["lock_out"]]


def test_pictures(found, tmp_path):
    from ductsim.display.canvas import save

    axes = Figure().add_subplot()
    assert found.plot(axes) is axes and len(axes.patches) == 2
    save(found, tmp_path / "bars.svg")
    assert (tmp_path / "bars.svg").read_text(encoding="utf-8").startswith("<?xml")
    with pytest.raises(UnknownName, match="bras"):
        found.plot(axes, "bras")


def test_a_section_of_a_report(found, tmp_path):
    place = tmp_path / "report.html"
    ds.report(ds.demo("bench"), place, sections=[found, Written(), ds.demo("bench").sensitivity()])
    page = place.read_text(encoding="utf-8")
    section = page[
        page.index('<section id="study-1" class="sheet">') : page.index(
            '<section id="study-2" class="sheet">'
        )
    ]
    assert "<h2>What becomes of the power</h2>" in section
    assert "Useful power of every unit" in section and "<svg" in section
    assert "useful power" in section and "<h3>Units</h3>" in section
    assert str(found) in section and found.notes[0] in section
    assert section.count("<li>") == 1  # the note; the cautions stand on the first sheet
    assert all(text in html.unescape(page) for text in found.cautions)
    assert '<a href="#study-1">What becomes of the power</a>' in page
    assert "<h2>Written</h2>" in page and "It is two metres long." in page
    assert "<h2>What the answer hangs on</h2>" in page
    assert page.index('id="units"') < page.index('id="study-1"') < page.index('id="machine"')
    assert CAUTIONS["lock_out"] in page[page.index('id="cautions"') : page.index('id="units"')]


def test_one_result_is_a_section_too(found, tmp_path, monkeypatch):
    monkeypatch.setattr("ductsim.reports.report.page", lambda given: repr(given.own))
    ds.report(ds.demo("bench"), tmp_path / "r.html", sections=found)
    assert (tmp_path / "r.html").read_text(encoding="utf-8") == "[<UsefulPower: 2 units>]"


@pytest.mark.parametrize("sections", [[3], "result", 3])
def test_no_section_of_what_is_no_result(sections, tmp_path):
    with pytest.raises(InputError, match="report, sections"):
        ds.report(ds.demo("bench"), tmp_path / "r.html", sections=sections)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "again",
    [copy.copy, copy.deepcopy, lambda found: pickle.loads(pickle.dumps(found))],
    ids=["copy", "deepcopy", "pickle"],
)
def test_copies(found, again):
    other = again(found)
    assert other is not found and other.to_json() == found.to_json() and str(other) == str(found)


def test_kept_in_a_file(found, tmp_path):
    found.save(tmp_path / "useful.result")
    for other in (UsefulPower.load(tmp_path / "useful.result"), ds.Result.load(tmp_path / "useful.result")):
        assert type(other) is UsefulPower and other.to_json() == found.to_json()
    with pytest.raises(InputError, match="holds a UsefulPower; a Sweep"):
        ds.Sweep.load(tmp_path / "useful.result")


def test_a_command(found, run, refused, monkeypatch, tmp_path):
    """In the repository a study's command stands in its folder; here it is put where these are found."""
    monkeypatch.setattr(registry, "places", lambda: {"useful-power": __name__})
    monkeypatch.setattr(cli, "places", registry.places)
    status, out, err = run("useful-power", "demo:bench", "--plot", tmp_path / "bars.png")
    assert (status, err) == (0, "")
    assert out.startswith(str(found)) and "\nUnits\n" in out and "\nNotes\n- Less than" in out
    assert CAUTIONS["lock_out"][:40] in out
    assert (tmp_path / "bars.png").stat().st_size > 1000
    _, out, _ = run("useful-power", "demo:bench", "--share-wanted", "0.001", "--json", "--measures", "inch")
    told = json.loads(out)
    jsonschema.validate(told, schema())
    assert told["notes"] == [] and told["answer"][0].endswith("(inch).")
    assert "Less" not in run("useful-power", "demo:bench", "--share-wanted", "0.001")[1]
    _, out, _ = run("useful-power", "--help")
    assert "the share that would be good" in out


# ---- the base of all results


def test_a_result_without_faces_has_nothing_to_show():
    @dataclass(repr=False, eq=False)
    class NothingYet(ds.Result):
        value: float

    found = NothingYet(1.0)
    assert found.heading() == "Nothing yet" and repr(found) == "<NothingYet>" and str(found) == ""
    assert (found.tables(), found.rows(), found.sentences(), found.notes, found.cautions) == (
        {},
        [],
        [],
        [],
        [],
    )
    assert json.loads(found.to_json())["tables"] == {} and found.table().empty
    with pytest.raises(InputError, match="has no plot"):
        found.plot()


def test_tables_that_take_time_are_made_when_they_are_shown():
    """A page with some of the tables, the first rows and one table by its name work out nothing else."""

    class Slow(ds.Result):
        pass

    made = []
    Slow.show_by(
        tables=lambda found: {
            "quick": [{"length_m": 2.0}],
            "slow": lambda: made.append("slow") or [{"length_m": 3.0}],
            "none": list,
        },
        sentences=lambda found, measures: ["It is two metres long."],
    )
    found = Slow()
    assert "Quick" in page(Answer(found, None, ("quick",)), "metric") and found.rows() == [{"length_m": 2.0}]
    assert len(found.table("quick")) == 1 and not made
    assert list(found.tables()) == ["quick", "slow"] and made == ["slow"]
    with pytest.raises(UnknownName):
        found.table("slower")
    assert Written().some_tables(["numbers", "others"]) == Written().tables()


class Written(ds.Result):
    """A class that says it itself."""

    def tables(self):
        return {"numbers": [{"length_m": 2.0}]}

    def sentences(self, measures="metric"):
        return ["It is two metres long."]


def test_methods_do_as_well_as_a_registration():
    found = Written()
    assert found.rows() == [{"length_m": 2.0}] and str(found) == "It is two metres long."
    assert "<td" in found._repr_html_() and found.heading() == "Written"


def test_a_subclass_keeps_what_it_does_not_register_anew(found):
    class Narrower(UsefulPower):
        pass

    Narrower.show_by(title="Narrower")
    own = Narrower(found.machine, 0.1, found.useful, found.shaft_power)
    assert own.heading() == "Narrower" and own.rows() == found.rows()
    assert found.heading() == "What becomes of the power"
    with pytest.raises(UnknownName, match="'sentence'; did you mean 'sentences'"):
        Narrower.show_by(sentence=sentences)


def test_notes_that_are_texts_become_notes():
    class Noting(ds.Result):
        pass

    Noting.show_by(notes=lambda found: ["One thing."])
    assert Noting().notes == [Note("One thing.")] and Noting().notes[0].kind == ""


def test_a_note_is_a_text_that_knows_what_it_is_about():
    note = Note("Too fast.", "limit passed", "fan", np.float64(200.0))
    assert note == "Too fast." and note.upper() == "TOO FAST."
    for other in (copy.copy(note), copy.deepcopy(note), pickle.loads(pickle.dumps(note))):
        assert other == note and other.about() == note.about()
    assert note.about() == {"kind": "limit passed", "place": "fan", "value": 200.0}


def test_rows_by_their_columns():
    rows = rows_of([1.0, 2.0], Of("length", "m", "how long", abs), Of("real"))
    assert rows == [{"length_m": 1.0, "real": 1.0}, {"length_m": 2.0, "real": 2.0}]
    assert rows.docs == {"length_m": "how long"}
    assert rows_of([], Of("length")) == []
    assert pickle.loads(pickle.dumps(rows)).docs == rows.docs
