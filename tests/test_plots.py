"""Plots: what they show is what the result says, in the measures asked for, readable in grey."""

from dataclasses import replace

import matplotlib
import matplotlib.pyplot as plt
import numpy as np
import pytest
from amounts import few_and_all
from logbook_season import season
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from pictures import axes, drawn, on_points, overprinted, widths, words
from shown_machines import leaky_bench

import ductsim as ds
from ductsim.display import canvas as plots
from ductsim.display import style
from ductsim.display.charts import TITLE
from ductsim.display.presentation import Shown
from ductsim.errors import InputError, UnknownName
from ductsim.quantity import from_si

BENCH_FIXES = [
    ds.Fix("seal left", change={"left leak.area": 0.0}, minutes=10.0),
    ds.Fix("seal right", change={"right leak.area": 0.0}, minutes=12.0, cost=3.0),
    ds.Fix("faster", change={"fan.speed": "1700 rpm"}, minutes=5.0),
    ds.Fix("far too fast", change={"fan.speed": "2500 rpm"}, minutes=5.0),
    ds.Fix("nonsense", change={"no such thing.area": 0.0}),
]


@pytest.fixture(scope="module")
def machine():
    return leaky_bench()


@pytest.fixture(scope="module")
def possible(machine):
    rng = np.random.default_rng(4)
    return machine.change({"left leak.area": rng.uniform(1e-3, 8e-3, 24)})


def readings(machine):
    """Exact readings of both heads, so that the fit finds the machine."""
    state = machine.solve()
    names = ("left tapping", "right tapping")
    return [ds.Reading(name, float(state.ask(f"tapping {name}")), set="a") for name in names]


@pytest.fixture(scope="module")
def results(machine, possible, tmp_path_factory):
    """Every kind of result, by the name of its class and a word."""
    found = ds.fit(machine, readings(machine), draws=60)
    picker = ds.demo("picker")
    shut = ds.Fix("seal left", change={"left leak.area": 0.0}, minutes=10.0)
    return {
        "state": machine.solve(),
        "possible state": possible.solve(),
        "machine": machine,
        "sensitivity": machine.sensitivity(),
        "comparison": ds.compare(machine, BENCH_FIXES, budget=20.0),
        "possible comparison": ds.compare(possible, BENCH_FIXES),
        "sweep": ds.sweep(machine, "left leak.area", np.linspace(0.0, 0.01, 7)),
        "scaled sweep": ds.sweep(possible, "fan.speed", ["x0.9", "x1.0", "x1.3"]),
        "faults": ds.what_if(machine),
        "gauges": ds.gauges(machine, samples=20),
        "balance": ds.balance(machine, [ds.Trim("left mouth.area", "100 cm2", "400 cm2")]),
        "fit": found,
        "suspects": ds.fit(machine, readings(machine), suspects="leaks", draws=60),
        "next": ds.where_to_measure(found, "unknowns"),
        "fleet": ds.learn([found, found, found]),
        "visit plan": ds.visit(machine, minutes=60),
        "next step": ds.where_to_measure(found),
        "proof": ds.proof(machine, readings(machine), readings(shut.on(machine)), shut),
        "plan": ds.proof(machine, None, None, shut),
        "speed": ds.ground_speed(picker, samples=20),
        "speed with fixes": ds.ground_speed(
            picker, fixes=[ds.Fix("seal", change={"hatch leak 4.area": 0.0})], samples=20
        ),
        "fill": ds.fill(picker),
        "calibration": ds.calibrate(picker, [{"ground_speed": 1.5}, {"ground_speed": 1.8, "blocked": "4"}]),
        "calibrated velocity": ds.calibrate(picker, [{"ground_speed": 1.5}], "conveying_velocity"),
        "history": ds.history(season(tmp_path_factory.mktemp("season") / "book"), draws=20),
        "pass": ds.field_pass(picker, np.linspace(0.2, 0.6, 9)),
        "ensemble": ds.ensemble(machine, samples=64, shares=True),
        "many questions": ds.ensemble(
            machine, of=["weakest vacuum", "shaft power", "duct air left"], samples=64
        ),
    }


# ---- every plot


def every(results, names=None):
    """Each picture of each result, or the usual one of some."""
    if names:
        return [(name, next(iter(results[name].plots()))) for name in names]
    return [(name, what) for name, result in results.items() for what in result.plots()]


ONE_OF_EACH = [
    "state", "possible state", "machine", "sensitivity", "comparison", "scaled sweep", "faults",
    "balance", "fit", "gauges", "suspects", "next", "proof", "speed with fixes",
    "fill", "calibration", "history", "pass", "ensemble",
    "next step", "visit plan", "fleet",
]  # fmt: skip
some_and_every = few_and_all("names", ONE_OF_EACH, None)


NOTHING = {
    ("many questions", "shares"): "shares of the variance were not asked for",
    ("speed", "fixes"): "no fix was tried",
    ("plan", "before and after"): "nothing was measured yet",
}


def test_one_of_each_kind_is_drawn_every_time(results):
    assert {type(results[name]) for name in ONE_OF_EACH} == {type(result) for result in results.values()}


@some_and_every
def test_every_plot_is_drawn_within_its_sheet(results, names):
    for name, what in every(results, names):
        if (name, what) in NOTHING:
            continue
        figure = drawn(results[name], what)
        said = words(figure)
        assert "[inH2O]" not in said and "nan" not in said.split(), (name, what)
        whole = figure.get_tightbbox()
        assert whole.width <= 1.12 * figure.get_figwidth(), (name, what)
        if what != "drawing":
            assert overprinted(figure) == [], (name, what)
        for ax in axes(figure):
            assert len(ax.get_title(loc="left").replace(r"\$", "$")) <= TITLE
            legend = ax.get_legend()
            if legend and (name, what) != ("fit", "readings"):  # nothing lies off the line of equal readings
                box, room = legend.get_window_extent(), ax.get_window_extent()
                assert box.y1 <= room.y0 or box.y0 >= room.y1 - 1.0, (name, what)


@some_and_every
def test_no_plot_in_inch_measures_shows_metric_ones(results, names):
    for name, what in every(results, names):
        if (name, what) not in NOTHING:
            said = words(plots.figure_of(results[name], what, "inch"))
            for metric in ("[Pa]", "[kg/s]", "[m]", "[cm2]", "[kW]", "[km/h]", "[m3/s]", "[kg/m2]"):
                assert metric not in said, (name, what)


def test_every_plot_has_words_and_a_size(results):
    for name, what in every(results):
        assert len(results[name].picture(what).words) > 10
        width, height = results[name].picture(what).size_for(results[name])
        assert 2.0 <= width <= 20.0 and 1.2 <= height <= 40.0


def test_every_class_with_pictures_is_tested(results):
    def classes(cls):
        return {cls, *(sub for own in cls.__subclasses__() for sub in classes(own))}

    drawn = {
        c
        for c in classes(Shown)
        if "presentation" in vars(c) and c.presentation.plots and c.__module__.startswith("ductsim")
    }
    assert drawn <= {cls for result in results.values() for cls in type(result).__mro__}


@pytest.mark.parametrize("case", NOTHING)
def test_nothing_to_draw_says_why(results, case):
    with pytest.raises(InputError, match=NOTHING[case]):
        plots.figure_of(results[case[0]], case[1])


# ---- machine state


def test_units_show_vacuum_opening_air_and_duct_air(results):
    state = results["state"]
    figure = drawn(state)
    panes = figure.axes[0].child_axes
    keys = ("vacuum_Pa", "opening_air_kg_s", "duct_air_kg_s")
    for pane, key in zip(panes, keys, strict=True):
        np.testing.assert_allclose(widths(pane), [row[key] for row in state.rows()])
    assert [p.get_xlabel() for p in panes] == ["vacuum [Pa]", "opening air [kg/s]", "duct air [kg/s]"]


def test_the_weakest_is_marked_by_colour_and_hatch(results):
    state = results["state"]
    for pane, weak in zip(
        drawn(state).axes[0].child_axes, (state.weakest, state.weakest_by_air), strict=False
    ):
        names = [unit.name for unit in state.machine.layout.units]
        marked = [i for i, patch in enumerate(pane.patches) if patch.get_hatch()]
        assert [names[i] for i in marked] == [weak]
        assert {pane.patches[i].get_facecolor()[:3] for i in marked} == {to_rgb(style.MARK)}


def test_units_in_inch_measures(results):
    state = results["state"]
    pane = drawn(state, "units", "inch").axes[0].child_axes[0]
    np.testing.assert_allclose(widths(pane), from_si(np.array(list(state.vacuum.values())), "inH2O"))


def test_units_of_columns_show_medians_and_ranges(results):
    state = results["possible state"]
    pane = drawn(state).axes[0].child_axes[0]
    np.testing.assert_allclose(widths(pane), [np.median(v) for v in state.vacuum.values()])
    segments = next(c for c in pane.collections if hasattr(c, "get_segments")).get_segments()
    for segment, values in zip(segments, state.vacuum.values(), strict=True):
        np.testing.assert_allclose(segment[:, 0], np.quantile(values, (0.05, 0.95)))


def test_fans_work_on_their_curves(results):
    state = results["state"]
    ax = drawn(state, "fans").axes[0]
    curve, beyond, point = ax.lines
    row = state.fan_rows()[0]
    assert (point.get_xdata()[0], point.get_ydata()[0]) == pytest.approx(
        (row["flow_m3_s"], row["pressure_rise_Pa"])
    )
    on_curve = np.interp(row["flow_m3_s"], curve.get_xdata(), curve.get_ydata())
    assert on_curve == pytest.approx(row["pressure_rise_Pa"], rel=1e-3)
    # the file's own points, at the file's own speed and density
    for flow, rise in ((0.0, 1200.0), (0.5, 1150.0), (1.0, 1000.0), (1.5, 700.0)):
        assert np.interp(flow, curve.get_xdata(), curve.get_ydata()) == pytest.approx(rise, rel=1e-3)
    assert beyond.get_xdata().min() > 1.5 and beyond.get_linestyle() == ":"


def test_elasticities_are_the_steepest_of_what_can_be_changed(results):
    found = results["sensitivity"]
    ax = drawn(found).axes[0]
    names = [label.get_text() for label in ax.get_yticklabels()]
    assert not any(name.startswith("air.") or "exponent" in name for name in names)
    rows = {row["address"]: row["elasticity"] for row in found.rows()}
    np.testing.assert_allclose(widths(ax), [rows[name] for name in names])
    assert np.all(np.diff(np.abs(widths(ax))) <= 0.0)
    for patch in ax.patches:
        assert bool(patch.get_hatch()) == (patch.get_width() < 0.0)


# ---- fixes


def test_gains_alone_and_in_company(results):
    found = results["comparison"]
    rows = [row for row in found.rows() if "gain_Pa" in row]
    ax = drawn(found).axes[0]
    np.testing.assert_allclose(widths(ax), [row["gain_Pa"] for row in rows])
    diamonds = next(line for line in ax.lines if line.get_marker() == "D")
    np.testing.assert_allclose(
        diamonds.get_xdata(), [np.nan if row["worth_Pa"] is None else row["worth_Pa"] for row in rows]
    )
    refused = [row["fix"] for row, patch in zip(rows, ax.patches, strict=True) if patch.get_hatch()]
    assert refused == ["far too fast"]
    assert "10 min" in words(ax.figure)


def test_gains_of_possible_machines_have_intervals(results):
    found = results["possible comparison"]
    ax = drawn(found).axes[0]
    lines = [c for c in ax.collections if hasattr(c, "get_segments")][-1].get_segments()
    rows = [row for row in found.rows() if "gain_Pa" in row]
    for segment, row in zip(lines, rows, strict=True):
        np.testing.assert_allclose(segment[:, 0], [row["gain_low_Pa"], row["gain_high_Pa"]])


def test_the_front_is_beaten_by_nothing(results):
    found = results["comparison"]
    ax = drawn(found, "front").axes[0]
    squares = next(line for line in ax.lines if line.get_marker() == "s")
    dots = next(line for line in ax.lines if line.get_marker() == "o")
    for x, y in zip(dots.get_xdata(), dots.get_ydata(), strict=True):
        assert max(squares.get_ydata()[squares.get_xdata() <= x + 1e-9]) >= y - 0.01 * abs(y) - 1.0
    star = next(line for line in ax.lines if line.get_marker() == "*")
    assert star.get_ydata()[0] == pytest.approx(found.gain(*found.names(found.recommended)))


def test_before_and_after(results):
    found = results["comparison"]
    panes = drawn(found, "units").axes[0].child_axes
    before, after = (next(line for line in panes[0].lines if line.get_marker() == m) for m in "oD")
    np.testing.assert_allclose(before.get_xdata(), [row["vacuum_before_Pa"] for row in found.units()])
    np.testing.assert_allclose(after.get_xdata(), [row["vacuum_after_Pa"] for row in found.units()])


def test_a_sweep_marks_changes_and_limits(results):
    found = results["sweep"]
    ax = drawn(found).axes[0]
    line = ax.lines[0]
    np.testing.assert_allclose(line.get_xdata(), 1e4 * np.sort(found.values))
    np.testing.assert_allclose(line.get_ydata(), found.answers["weakest vacuum"][:, 0])
    assert ax.get_xlabel() == "left leak.area [cm2]"
    dashed = [x for x in ax.lines if len(set(x.get_xdata())) == 1 and len(x.get_xdata()) == 2]
    np.testing.assert_allclose([x.get_xdata()[0] for x in dashed], [1e4 * c.value for c in found.changes])
    ax = drawn(results["scaled sweep"]).axes[0]
    crosses = next(x for x in ax.lines if x.get_marker() == "X")
    assert list(crosses.get_xdata()) == [1.3]
    assert ax.get_xlabel() == "factor on fan.speed"


def test_trims_stand_between_their_limits(results):
    found = results["balance"]
    ax = drawn(found, "trims").axes[0]
    for line in ax.lines:
        if line.get_marker() in ("o", "D"):
            assert np.all((line.get_xdata() >= -1e-9) & (line.get_xdata() <= 1.0 + 1e-9))


# ---- readings


def test_unknowns_on_their_priors(results):
    found = results["fit"]
    ax = drawn(found).axes[0]
    names = [t.get_text() for t in ax.get_yticklabels()]
    assert names == [row["unknown"] for row in found.unknowns]
    segments = next(c for c in ax.collections if hasattr(c, "get_segments")).get_segments()
    for segment, row in zip(segments, found.unknowns, strict=True):
        back = row["prior_low"] + segment[:, 0] * (row["prior_high"] - row["prior_low"])
        np.testing.assert_allclose(back, [row["low"], row["high"]])


def test_measured_against_fitted(results):
    found = results["fit"]
    ax = drawn(found, "readings").axes[0]
    line = next(x for x in ax.lines if x.get_marker() == "o")
    np.testing.assert_allclose(line.get_xdata(), [row["fitted"] for row in found.readings])
    np.testing.assert_allclose(line.get_ydata(), [row["measured"] for row in found.readings])
    assert ax.get_title(loc="left") == "All readings fit"


def test_suspects_by_their_chance(results):
    found = results["suspects"]
    ax = drawn(found).axes[0]
    np.testing.assert_allclose(widths(ax), [100.0 * row["chance"] for row in found.rows()[: len(ax.patches)]])


def test_what_a_reading_takes_away(results):
    found = results["next"]
    ax = drawn(found).axes[0]
    shrunk = [100.0 * (1.0 - row["shrinks_to"]) for row in found.rows()[: len(ax.patches)]]
    np.testing.assert_allclose(widths(ax), shrunk)
    # of readings that tell about the same the quickest comes first: the order is the study's, not the plot's
    assert shrunk[0] >= max(shrunk) - 1.0


def test_the_expected_and_the_measured_change(results):
    found = results["proof"]
    ax = drawn(found).axes[0]
    line = next(x for x in ax.lines if x.get_marker() == "D")
    np.testing.assert_allclose(line.get_xdata(), [row["change"] for row in found.rows()])


# ---- crop


def test_margins_at_every_section(results):
    found = results["speed"]
    ax = drawn(found).axes[0]
    shown = sorted(x for line in ax.lines if line.get_linestyle() == "None" for x in line.get_xdata())
    np.testing.assert_allclose(shown, sorted(margin.margin for margin in found.margins))
    assert words(ax.figure).count("unit ") == 5


def test_speed_times_yield_is_constant_where_the_crop_limits(results):
    found = results["speed"]
    ax = drawn(found, "yield").axes[0]
    line = next(x for x in ax.lines if x.get_label() == "the crop limits")
    product = line.get_xdata() * line.get_ydata()
    np.testing.assert_allclose(product, product[0])
    diamond = next(x for x in ax.lines if x.get_marker() == "D")
    assert diamond.get_ydata()[0] == pytest.approx(3.6 * found.speed)
    mph = next(x for x in drawn(found, "yield", "inch").axes[0].lines if x.get_marker() == "D")
    assert mph.get_ydata()[0] == pytest.approx(found.speed / 0.44704)


def test_the_profile_is_full_at_its_fullest_place(results):
    found = results["fill"]
    ax = drawn(found).axes[0]
    line = ax.lines[0]
    assert line.get_ydata().max() == pytest.approx(100.0)
    assert line.get_ydata().mean() == pytest.approx(100.0 * found.usable())
    assert f"{100 * found.usable():.0f} %" in ax.get_title(loc="left")


def test_a_pass_marks_where_it_would_block(results):
    found = results["pass"]
    ax = drawn(found).axes[0]
    np.testing.assert_allclose(ax.patches[0].get_data().values, found.margin)
    assert len(ax.patches) - 1 == int((found.margin < 1.0).sum()) > 0


# ---- ensembles


def test_a_histogram_holds_every_machine(results):
    found = results["ensemble"]
    ax = drawn(found).axes[0]
    assert sum(p.get_height() for p in ax.patches) == pytest.approx(100.0)
    middle = ax.lines[0].get_xdata()[0]
    assert middle == pytest.approx(found.quantile("weakest vacuum", 0.5))


def test_chances_of_the_weakest(results):
    found = results["ensemble"]
    ax = drawn(found, "weakest").axes[0]
    np.testing.assert_allclose(widths(ax), [100.0 * c for c in found.chance_weakest.values()])


# ---- where and how


def test_given_axes_are_used_and_come_back(results):
    for result in results.values():
        ax = Figure().add_subplot()
        assert ds.draw(result, ax) is ax
        assert ax.has_data() or ax.child_axes or ax.texts


def test_the_callers_sizes_hold_and_colours_do_not(results):
    own = {"figure.figsize": (7.0, 2.5), "font.size": 13.0, "axes.facecolor": "black", "text.color": "white"}
    with matplotlib.rc_context(own):
        ax = results["sweep"].plot()
        assert tuple(ax.figure.get_size_inches()) == (7.0, 2.5)
        assert ax.get_facecolor()[:3] == to_rgb(style.PAPER)
        ax = results["fill"].plot()
        assert ax.texts[0].get_fontsize() == 7.5  # what a plot sets itself
    figure = results["sweep"].plot().figure
    assert tuple(figure.get_size_inches()) == results["sweep"].picture("").size_for(results["sweep"])
    plt.close("all")


def test_a_chance_ends_at_one_hundred_per_cent(results):
    for name, what in (("suspects", "chances"), ("ensemble", "weakest"), ("next", "readings")):
        assert drawn(results[name], what).axes[0].get_xlim()[1] <= 100.0


def test_minutes_stand_clear_of_the_points(results):
    for name in ("comparison", "possible comparison"):
        assert on_points(drawn(results[name], "gains").axes[0]) == []


def test_a_refused_fix_is_drawn_as_refused(results):
    found = results["comparison"]
    names = [row["fix"] for row in found.rows() if "gain_Pa" in row]
    bar = drawn(found, "gains").axes[0].patches[names.index("far too fast")]
    assert bar.get_hatch() == "xxx"
    fine = results["speed with fixes"]
    speed = replace(fine, gains=[replace(gain, problem="not allowed: too fast") for gain in fine.gains])
    assert [patch.get_hatch() for patch in drawn(speed, "fixes").axes[0].patches] == ["xxx"]


def test_a_result_draws_itself(results):
    ax = results["comparison"].plot(what="front", measures="inch")
    assert ax.get_ylabel() == "gain [inH2O]"
    assert ax.figure.number in plt.get_fignums()
    plt.close(ax.figure)


def test_the_callers_settings_stand_again(results):
    before = dict(matplotlib.rcParams)
    with matplotlib.rc_context({"font.size": 23.0, "text.usetex": False}):
        ax = Figure().add_subplot()
        ds.draw(results["state"], ax)
        assert matplotlib.rcParams["font.size"] == 23.0
    assert dict(matplotlib.rcParams) == before


def test_unknown_plots_and_results(results):
    with pytest.raises(UnknownName, match="unknown plot 'unitz'; did you mean 'units'"):
        ds.draw(results["state"], what="unitz")
    with pytest.raises(InputError, match="has no plot"):
        ds.draw([1, 2])
    with pytest.raises(UnknownName, match="unknown system of measures 'imperial'"):
        ds.draw(results["state"], measures="imperial")
