"""Nothing odd is taken in silence: every public function and method refuses it by a sentence."""

import datetime
import warnings
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest

import ductsim as ds
from ductsim.errors import DuctsimError


class Odd:
    """An object that is no number, no text and no list."""


HUGE = 10**400

ODD = {
    "None": None,
    "True": True,
    "complex": 1 + 2j,
    "bytes": b"2 m",
    "set": {1.0, 2.0},
    "frozenset": frozenset({"fan"}),
    "dict": {"a": 1},
    "empty dict": {},
    "nested list": [[1.0, 2.0], [3.0, 4.0]],
    "ragged list": [[1.0], [2.0, 3.0]],
    "empty list": [],
    "list of None": [None, 1.0],
    "list of dicts": [{"a": 1}],
    "list of texts": ["a", "b"],
    "object array": np.array([1.0, None, "x"], dtype=object),
    "array of texts": np.array(["a", "b"]),
    "array of truth": np.array([True, False]),
    "complex array": np.array([1j, 2.0]),
    "square array": np.ones((2, 2)),
    "scalar array": np.array(3.5),
    "empty array": np.array([]),
    "nan": float("nan"),
    "inf": float("inf"),
    "minus inf": -np.inf,
    "huge int": HUGE,
    "huge float": 1e308,
    "list of huge": [HUGE, 1],
    "negative": -1.0,
    "half": 0.5,
    "Fraction": Fraction(1, 3),
    "huge Fraction": Fraction(HUGE, 3),
    "Decimal": Decimal("1.5"),
    "Decimal nan": Decimal("NaN"),
    "Decimal snan": Decimal("sNaN"),
    "masked": np.ma.masked,
    "masked array": np.ma.array([1.0, 2.0], mask=[True, False]),
    "Series": pd.Series([1.0, 2.0], index=["a", "b"]),
    "Series of texts": pd.Series(["a", None]),
    "frame": pd.DataFrame({"a": [1.0]}),
    "NA": pd.NA,
    "NaT": pd.NaT,
    "datetime": datetime.datetime(2024, 5, 1),
    "timedelta": np.timedelta64(5, "s"),
    "datetime array": np.array(["2024-05-01"], dtype="datetime64[D]"),
    "text": "nonsense",
    "empty text": "",
    "long text": "x" * 5000,
    "star": "*",
    "control": "a\x00b",
    "surrogate": "\ud800",
    "overflowing": "1e308 mi2",
    "slice": slice(1, 3),
    "ellipsis": ...,
    "type": int,
    "function": len,
    "object": Odd(),
    "NotImplemented": NotImplemented,
    "tuple of tuples": ((1, 2), (3,)),
    "range": range(3),
    "memoryview": memoryview(b"ab"),
    "numpy truth": np.True_,
    "numpy text": np.str_("fan"),
    "void": np.zeros(1, dtype=[("a", float)]),
    "array of lists": np.array([[1], None], dtype=object),
    "list holding itself": None,
    "deep dict": {"change": {"a": {"b": []}}},
}
LOOP = [1.0]
LOOP.append(LOOP)
ODD["list holding itself"] = LOOP


def fresh(name):
    """The odd value; generators are made anew."""
    if name == "generator":
        return (x for x in (1.0, 2.0))
    if name == "iterator":
        return iter(["a"])
    return ODD[name]


NAMES = [*ODD, "generator", "iterator"]

MACHINE = ds.demo("bench")
CROP = ds.Crop(crop_yield=0.2, row_spacing=1.0)
NUMBER = next(a for a in MACHINE.numbers if a.endswith(".area"))
PART = MACHINE.layout.parts[0].name
COLUMN = MACHINE.change({NUMBER: MACHINE.numbers[NUMBER] * np.array([1.0, 1.1, 1.2])})
STATE = MACHINE.solve()
STATES = COLUMN.solve()
WITH_CROP = ds.demo("suction")
ADDRESS = "fan.speed"
BOX = ds.Box(width=2.0, length=4.0, height=2.0, positions=(0.5, 1.5))
FIX = ds.Fix("seal", {NUMBER: "x0.9"}, minutes=5.0)
SMALL = ds.ensemble(MACHINE, [ds.Spread(NUMBER, sd=0.1)], samples=8, chunk=8)
COMPARED = ds.compare(MACHINE, [FIX])
SPEED = ds.ground_speed(WITH_CROP)
SOAP = ds.Duct(length=1.0, diameter=0.2)


def keyed(key, value):
    """A mapping with an odd key; what cannot be a key is none."""
    try:
        return {key: value}
    except TypeError:
        return {None: value}


def _net():
    net = ds.Network(ds.Air())
    net.add("duct", SOAP, "a", "outside")
    net.add("other", SOAP, "a", "b")
    return net.hold("b", -500.0)


def ensemble(**odd):
    given = {"spreads": [ds.Spread(NUMBER, sd=0.1)], "samples": 4, "chunk": 4, **odd}
    return ds.ensemble(MACHINE, **given)


CALLS = {
    "Machine.of": ds.Machine.of,
    "Machine.read": ds.Machine.read,
    "change": MACHINE.change,
    "change value": lambda odd: MACHINE.change({NUMBER: odd}),
    "change in list": lambda odd: MACHINE.change({NUMBER: [odd, 1.0]}),
    "change key": lambda odd: MACHINE.change(keyed(odd, 1.0)),
    "change times": lambda odd: MACHINE.change({NUMBER: ds.times(odd)}),
    "ask": MACHINE.ask,
    "state.ask": STATE.ask,
    "machine[]": lambda odd: MACHINE[odd],
    "columns[]": lambda odd: COLUMN[odd],
    "state[]": lambda odd: STATE[odd],
    "states[]": lambda odd: STATES[odd],
    "flow[]": lambda odd: STATE.flow[odd],
    "pressure[]": lambda odd: STATES.pressure[odd],
    "vacuum[]": lambda odd: STATE.vacuum[odd],
    "numbers[]": lambda odd: MACHINE.numbers[odd],
    "part": MACHINE.part,
    "replace": MACHINE.replace,
    "replace part": lambda odd: MACHINE.replace({PART: odd}),
    "replace key": lambda odd: MACHINE.replace(keyed(odd, SOAP)),
    "with_crop": MACHINE.with_crop,
    "jacobian of": lambda odd: MACHINE.jacobian(odd, [NUMBER]),
    "jacobian numbers": lambda odd: MACHINE.jacobian(["weakest vacuum"], odd),
    "jacobian state": lambda odd: MACHINE.jacobian(["weakest vacuum"], [NUMBER], odd),
    "sensitivity": MACHINE.sensitivity,
    "layout.declaration": MACHINE.layout.declaration,
    "layout.expand": MACHINE.layout.expand,
    "layout.end_node": lambda odd: MACHINE.layout.end_node(odd, odd),
    "layout.path_keys": MACHINE.layout.path_keys,
    "Machine": lambda odd: ds.Machine(odd, odd),
    "grid": ds.grid,
    "grid value": lambda odd: ds.grid({NUMBER: odd}),
    "grid in list": lambda odd: ds.grid({NUMBER: [odd, 1.0]}),
    "grid key": lambda odd: ds.grid(keyed(odd, [1.0])),
    "demo": ds.demo,
    "si": lambda odd: ds.si(odd, "m2"),
    "si measure": lambda odd: ds.si(1.0, odd),
    "times": ds.times,
    "cautions_for": ds.cautions_for,
    "sweep machine": lambda odd: ds.sweep(odd, ADDRESS, [300.0]),
    "sweep address": lambda odd: ds.sweep(MACHINE, odd, [0.1, 0.2]),
    "sweep values": lambda odd: ds.sweep(MACHINE, NUMBER, odd),
    "sweep value": lambda odd: ds.sweep(MACHINE, NUMBER, [odd]),
    "sweep of": lambda odd: ds.sweep(MACHINE, NUMBER, [0.1], odd),
    "sweep fuel": lambda odd: ds.sweep(MACHINE, NUMBER, [0.1], specific_consumption=odd),
    "compare machine": lambda odd: ds.compare(odd, [FIX]),
    "compare fixes": lambda odd: ds.compare(MACHINE, odd),
    "compare fix": lambda odd: ds.compare(MACHINE, [odd]),
    "compare of": lambda odd: ds.compare(MACHINE, [FIX], odd),
    "compare budget": lambda odd: ds.compare(MACHINE, [FIX], budget=odd),
    "best budget": COMPARED.best,
    "best count": lambda odd: COMPARED.best(count=odd),
    "combinations": COMPARED.combinations,
    "done": COMPARED.done,
    "front": COMPARED.front,
    "gain": COMPARED.gain,
    "mask": COMPARED.mask,
    "names": COMPARED.names,
    "order_of": COMPARED.order_of,
    "compared units": COMPARED.units,
    "verdict": COMPARED.verdict,
    "compared sentences": COMPARED.sentences,
    "Fix name": ds.Fix,
    "Fix change": lambda odd: ds.Fix("a", odd),
    "Fix replace": lambda odd: ds.Fix("a", replace=odd).on(MACHINE),
    "Fix replace part": lambda odd: ds.Fix("a", replace={PART: odd}).on(MACHINE),
    "Fix minutes": lambda odd: ds.Fix("a", {NUMBER: 1.0}, minutes=odd),
    "Fix cost": lambda odd: ds.Fix("a", {NUMBER: 1.0}, cost=odd),
    "Fix caution": lambda odd: ds.Fix("a", {NUMBER: 1.0}, caution=odd),
    "Fix note": lambda odd: repr(ds.Fix("a", {NUMBER: 1.0}, note=odd)),
    "Fix on": FIX.on,
    "read_fixes": ds.read_fixes,
    "read_crop": ds.read_crop,
    "read_readings": ds.read_readings,
    "check_readings": lambda odd: ds.check_readings(MACHINE, odd),
    "check_readings machine": lambda odd: ds.check_readings(odd, []),
    "reduce_readings": lambda odd: ds.reduce_readings(MACHINE, odd),
    "reduce_readings speed": lambda odd: ds.reduce_readings(
        MACHINE, [ds.Reading("left tapping", 100.0)], engine_speed=odd
    ),
    "reduce_readings density": lambda odd: ds.reduce_readings(
        MACHINE, [ds.Reading("left tapping", 100.0)], density=odd
    ),
    "Reading tapping": lambda odd: ds.Reading(odd, 1.0),
    "Reading value": lambda odd: ds.Reading("left tapping", odd),
    "ReadingErrors": lambda odd: ds.ReadingErrors(zero=odd),
    "balance machine": ds.balance,
    "balance trims": lambda odd: ds.balance(MACHINE, odd),
    "balance trim": lambda odd: ds.balance(MACHINE, [odd]),
    "balance of": lambda odd: ds.balance(MACHINE, [ds.Trim(NUMBER, 0.001, 0.01)], odd),
    "Trim number": lambda odd: ds.balance(MACHINE, [ds.Trim(odd, 0.1, 0.2)]),
    "Trim low": lambda odd: ds.balance(MACHINE, [ds.Trim(NUMBER, odd, 0.2)]),
    "Trim sizes": lambda odd: ds.balance(MACHINE, [ds.Trim(NUMBER, sizes=odd)]),
    "ensemble machine": lambda odd: ds.ensemble(odd, samples=4),
    "ensemble spreads": lambda odd: ensemble(spreads=odd),
    "ensemble spread": lambda odd: ensemble(spreads=[odd]),
    "ensemble of": lambda odd: ensemble(of=odd),
    "ensemble samples": lambda odd: ensemble(samples=odd),
    "ensemble seed": lambda odd: ensemble(seed=odd),
    "ensemble chunk": lambda odd: ensemble(chunk=odd),
    "ensemble method": lambda odd: ensemble(method=odd),
    "ensemble shares": lambda odd: ensemble(shares=odd),
    "ensemble executor": lambda odd: ensemble(executor=odd),
    "Spread number": lambda odd: ensemble(spreads=[ds.Spread(odd)]),
    "Spread kind": lambda odd: ensemble(spreads=[ds.Spread(NUMBER, odd)]),
    "Spread sd": lambda odd: ensemble(spreads=[ds.Spread(NUMBER, sd=odd)]),
    "Spread low": lambda odd: ensemble(spreads=[ds.Spread(NUMBER, "uniform", low=odd, high=1.0)]),
    "Spread likely": lambda odd: ensemble(
        spreads=[ds.Spread(NUMBER, "triangular", low=0.0, likely=odd, high=1.0)]
    ),
    "Spread group": lambda odd: ensemble(spreads=[ds.Spread(NUMBER, group=odd)]),
    "Spread correlation": lambda odd: ensemble(spreads=[ds.Spread(NUMBER, correlation=odd)]),
    "quantile of": lambda odd: SMALL.quantile(odd, 0.5),
    "quantile share": lambda odd: SMALL.quantile("weakest vacuum", odd),
    "ground_speed": ds.ground_speed,
    "ground_speed crop": lambda odd: ds.ground_speed(WITH_CROP, odd),
    "ground_speed fixes": lambda odd: ds.ground_speed(WITH_CROP, fixes=odd),
    "ground_speed efficiency": lambda odd: ds.ground_speed(WITH_CROP, efficiency=odd),
    "ground_speed area": lambda odd: ds.ground_speed(WITH_CROP, season_area=odd),
    "ground_speed price": lambda odd: ds.ground_speed(WITH_CROP, price_per_hour=odd),
    "ground_speed samples": lambda odd: ds.ground_speed(WITH_CROP, samples=odd),
    "area_rate": SPEED.area_rate,
    "flow_at unit": lambda odd: SPEED.flow_at(odd, 1.0),
    "flow_at speed": lambda odd: SPEED.flow_at("1", odd),
    "fill": ds.fill,
    "fill crop": lambda odd: ds.fill(WITH_CROP, odd),
    "fill box": lambda odd: ds.fill(WITH_CROP, box=odd),
    "field_pass": lambda odd: ds.field_pass(odd, [(0.0, 0.3), (100.0, 0.4)]),
    "field_pass field": lambda odd: ds.field_pass(WITH_CROP, odd),
    "field_pass speed": lambda odd: ds.field_pass(WITH_CROP, [(0.0, 0.3), (9.0, 0.4)], speed=odd),
    "field_pass margin": lambda odd: ds.field_pass(WITH_CROP, [(0.0, 0.3), (9.0, 0.4)], margin=odd),
    "field_pass spacing": lambda odd: ds.field_pass(WITH_CROP, [(0.0, 0.3), (9.0, 0.4)], spacing=odd),
    "calibrate machine": lambda odd: ds.calibrate(odd, []),
    "calibrate": lambda odd: ds.calibrate(WITH_CROP, odd),
    "fit machine": lambda odd: ds.fit(odd, [ds.Reading("left tapping", 100.0)]),
    "fit readings": lambda odd: ds.fit(MACHINE, odd),
    "fit reading": lambda odd: ds.fit(MACHINE, [odd]),
    "fit suspects": lambda odd: ds.fit(MACHINE, [ds.Reading("left tapping", 900.0)], suspects=odd),
    "where_to_measure": ds.where_to_measure,
    "where_to_measure fixes": lambda odd: ds.where_to_measure(MACHINE, fixes=odd),
    "where_to_measure minutes": lambda odd: ds.where_to_measure(MACHINE, fixes={}, minutes=odd),
    "where_to_measure answer": lambda odd: ds.where_to_measure(MACHINE, fixes=[FIX], answer=odd),
    "visit": ds.visit,
    "visit fixes": lambda odd: ds.visit(MACHINE, odd),
    "visit minutes": lambda odd: ds.visit(MACHINE, {}, odd),
    "visit readings": lambda odd: ds.visit(MACHINE, {}, readings=odd),
    "visit sure": lambda odd: ds.visit(MACHINE, {}, sure=odd),
    "learn": ds.learn,
    "learn fit": lambda odd: ds.learn([odd, odd]),
    "proof": lambda odd: ds.proof(MACHINE, odd, odd, FIX),
    "proof machine": lambda odd: ds.proof(odd, [], [], FIX),
    "traverse": lambda odd: ds.traverse(odd, area=0.1),
    "traverse item": lambda odd: ds.traverse([odd, 1.0], area=0.1),
    "traverse area": lambda odd: ds.traverse([10.0, 11.0], area=odd),
    "traverse density": lambda odd: ds.traverse([10.0, 11.0], area=0.1, density=odd),
    "traverse quantity": lambda odd: ds.traverse([10.0, 11.0], area=0.1, quantity=odd),
    "traverse_places": lambda odd: ds.traverse_places(odd, diameter=0.3),
    "traverse_places diameter": lambda odd: ds.traverse_places(6, diameter=odd),
    "traverse_places width": lambda odd: ds.traverse_places(25, width=odd, height=0.2),
    "traverse_places rule": lambda odd: ds.traverse_places(6, diameter=0.3, rule=odd),
    "explore": ds.explore,
    "explore numbers": lambda odd: ds.explore(MACHINE, odd),
    "explore ranges": lambda odd: ds.explore(MACHINE, [NUMBER], odd),
    "explore range": lambda odd: ds.explore(MACHINE, [NUMBER], {NUMBER: odd}),
    "explore measures": lambda odd: ds.explore(MACHINE, [NUMBER], measures=odd),
    "draw": ds.draw,
    "draw what": lambda odd: ds.draw(SMALL, what=odd),
    "draw measures": lambda odd: ds.draw(SMALL, measures=odd),
    "draw ax": lambda odd: ds.draw(SMALL, odd),
    "report machine": lambda odd: ds.report(odd, "no such folder/report.html"),
    "report path": lambda odd: ds.report(MACHINE, odd) if not isinstance(odd, str) else None,
    "report fixes": lambda odd: ds.report(MACHINE, "no such folder/report.html", fixes=odd),
    "report readings": lambda odd: ds.report(MACHINE, "no such folder/report.html", readings=odd),
    "write": lambda odd: MACHINE.write(odd) if not isinstance(odd, str) else None,
    "state sentences": STATE.sentences,
    "Network": lambda odd: ds.Network(odd).add("a", SOAP, "x", "outside").solve(),
    "Network.add name": lambda odd: ds.Network(ds.Air()).add(odd, SOAP, "a", "b"),
    "Network.add part": lambda odd: ds.Network(ds.Air()).add("a", odd, "a", "b"),
    "Network.add end": lambda odd: ds.Network(ds.Air()).add("a", SOAP, odd, "b"),
    "Network.hold node": lambda odd: _net().hold(odd, 1.0).solve(),
    "Network.hold": lambda odd: _net().hold("a", odd).solve(),
    "Network.supply": lambda odd: _net().supply("a", odd).solve(),
    "Network.supply node": lambda odd: _net().supply(odd, 1.0).solve(),
    "Network.solve start": lambda odd: _net().solve(start=odd),
    "Network.change": lambda odd: _net().change(odd),
    "Network.change value": lambda odd: _net().change({"air.temperature": odd}),
    "Network.ask": lambda odd: _net().ask(odd),
    "Network.jacobian": lambda odd: _net().jacobian(odd, odd),
    "Network.sensitivity": lambda odd: _net().sensitivity(odd),
    "Network.table": lambda odd: _net().table(odd),
    "Network.table measures": lambda odd: _net().table("paths", odd),
    "Machine.diff": lambda odd: MACHINE.diff(odd),
    "read_fixes item": lambda odd: ds.read_fixes([odd]),
    "read_fixes change": lambda odd: ds.read_fixes({"tape": odd}),
    "read_fixes column": lambda odd: ds.read_fixes(
        pd.DataFrame({"name": [odd], "address": [odd], "value": [odd]}, dtype=object)
    ),
    "read_seen": ds.read_seen,
    "read_seen item": lambda odd: ds.read_seen([odd]),
    "read_seen column": lambda odd: ds.read_seen({"ground_speed": odd, "blocked": odd}),
    "read_field": ds.read_field,
    "read_field column": lambda odd: ds.read_field({"distance": [1.0], "crop_yield": odd}),
    "read_field item": lambda odd: ds.read_field([odd]),
    "read_field spacing": lambda odd: ds.read_field([0.3, 0.4], odd),
    "read_readings column": lambda odd: ds.read_readings({"tapping": "left tapping", "value": odd}),
    "Air density": lambda odd: ds.Air(density=odd),
    "Air temperature": lambda odd: ds.Air(temperature=odd),
    "Air.at altitude": lambda odd: ds.Air.at(altitude=odd),
    "Air.at temperature": lambda odd: ds.Air.at(temperature=odd),
    "Air.at humidity": lambda odd: ds.Air.at(relative_humidity=odd),
    "Air.at pressure": lambda odd: ds.Air.at(pressure=odd),
    "Loaded": ds.Loaded,
    "Loaded flow": lambda odd: ds.Loaded(SOAP, crop_flow=odd),
    "Duct.of": ds.Duct.of,
    "Fan.typical": lambda odd: ds.Fan.typical(wheel_diameter=odd, width=0.1, speed=300.0),
    "Fan.through": lambda odd: ds.Fan.through(flow=odd, total_pressure=900.0, speed=300.0),
    "crop.flow": CROP.flow,
    "crop.area_rate": lambda odd: CROP.area_rate(odd, 3),
    "crop.area_rate units": lambda odd: CROP.area_rate(1.0, odd),
    "crop.area_rate efficiency": lambda odd: CROP.area_rate(1.0, 3, odd),
    "law": lambda odd: ds.law(equation="a", valid="b", sources=odd),
    "part kind": ds.part,
    "part twice": lambda odd: ds.part("made by the tests")(odd),
    "number above": lambda odd: ds.number("m", above=odd, doc="a"),
    "add_word": lambda odd: ds.add_word(odd, lambda layout: [])(lambda layout, name: None),
}

PARTS = {
    "duct": {"length": 1.0, "diameter": 0.2, "roughness": 1e-4, "bends": (), "rise": 0.0},
    "hose": {"length": 1.0, "diameter": 0.2, "stretch": 1.0, "bends": ()},
    "opening": {"area": 0.02, "loss_coefficient": 1.5},
    "leak": {"area": 0.02, "discharge_coefficient": 0.6},
    "fan": {"flow": [0.0, 1.0], "total_pressure": [900.0, 0.0], "curve_speed": 300.0, "speed": 300.0},
    "jet": {"nozzle_area": 0.01, "mixing_area": 0.06},
    "merge": {"straight_area": 0.03, "branch_area": 0.03, "angle": 1.0},
    "screen": {"area": 0.3, "open_fraction": 0.6},
    "transition": {"first_area": 0.06, "second_area": 0.02},
}
for kind, good in PARTS.items():
    for name in good:
        CALLS[f"{kind} {name}"] = lambda odd, k=ds.extend.KINDS[kind], g=good, n=name: k(**(g | {n: odd}))
for name in ("crop_yield", "shares", "unit_yields", "slip"):
    CALLS[f"Crop {name}"] = lambda odd, n=name: ds.Crop(
        **({"crop_yield": 0.2, "row_spacing": 1.0} | {n: odd})
    )
for name in ("width", "positions", "lowest", "level"):
    CALLS[f"Box {name}"] = lambda odd, n=name: ds.Box(
        **({"width": 2.0, "length": 4.0, "height": 2.0, "positions": (0.5, 1.5)} | {n: odd})
    )
CALLS["Bend angle"] = lambda odd: ds.Bend(angle=odd)
CALLS["Bend style"] = lambda odd: ds.Bend(angle=1.0, style=odd)


def long(label):
    """What solves a whole study before it looks at this argument."""
    return label.startswith(
        ("ground_speed ", "report fixes", "report readings", "fit ", "proof", "draw what")
    )


@pytest.mark.parametrize(
    "label", [pytest.param(label, marks=[pytest.mark.slow] if long(label) else []) for label in CALLS]
)
def test_only_sentences_escape(label, tmp_path, monkeypatch):
    """Either the value is taken, or a DuctsimError says in a sentence why not."""
    monkeypatch.chdir(tmp_path)
    call = CALLS[label]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name in NAMES:
            try:
                call(fresh(name))
            except DuctsimError as err:
                assert 5 < len(str(err)) < 6000, name
            except Exception as err:
                raise AssertionError(f"{label} with {name}: {type(err).__name__}: {err}") from err


REFUSED = [
    "None",
    "True",
    "complex",
    "bytes",
    "set",
    "object",
    "nan",
    "huge int",
    "list of dicts",
    "datetime",
]


@pytest.mark.parametrize(
    "label",
    [
        "change",
        "change value",
        "ask",
        "columns[]",
        "states[]",
        "replace",
        "replace part",
        "grid",
        "grid value",
        "sweep address",
        "sweep value",
        "sweep of",
        "compare fix",
        "compare of",
        "ensemble spread",
        "ensemble of",
        "ensemble samples",
        "jacobian of",
        "jacobian numbers",
        "Network.hold",
        "Network.ask",
        "Network.change",
        "Machine.of",
        "Machine.diff",
        "read_crop",
        "read_fixes item",
        "read_seen item",
        "read_field spacing",
        "part kind",
        "Fix on",
    ],
)
@pytest.mark.parametrize("name", REFUSED)
def test_what_can_mean_nothing_is_refused(label, name):
    with pytest.raises(DuctsimError):
        CALLS[label](fresh(name))
