"""Its pictures."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..description.data import running_speed
from ..display import style
from ..display.charts import (
    bars,
    few_ticks,
    finding,
    height,
    in_measures,
    legend,
    light_grid,
    name_rows,
    no_names,
    some,
)
from ..display.presentation import Plot
from ..drawing.picture import draw_machine
from ..parts.declare import LocalAir
from ..questions.gauges import inlet_density, opening_air, stacked_path


def units(state: Any, ax: Any, measures: str) -> None:
    """Vacuum, opening air and duct air of every unit, the weakest marked."""
    names = some([unit.name for unit in state.machine.layout.units], "the machine has no units")
    panes = style.panels(ax, [1.0, 1.0, 1.0], 0.06)
    for k, (pane, (words, measure, columns)) in enumerate(zip(panes, _unit_columns(state), strict=True)):
        values = in_measures([style.middle(v) for v in columns], measure, measures)
        ranges = None, None
        if state.columns is not None:
            ends = np.array([style.spread(v) for v in columns])
            ranges = in_measures(ends[:, 0], measure, measures), in_measures(ends[:, 1], measure, measures)
        weak = [int(np.nanargmin(values))] if k < 2 and np.isfinite(values).any() and len(names) > 1 else []
        bars(pane, values, weak, *ranges, colour=style.DEEP if k < 2 else style.TEAL)
        if k == 0:
            name_rows(pane, [f"unit {name}" for name in names], 16)
        else:
            no_names(pane, len(names))
        pane.set_xlabel(style.measure(words, measure, measures))
        few_ticks(pane, 3)
    finding(ax, _about_units(state))


def _unit_columns(state: Any) -> list[tuple[str, str, list[Any]]]:
    machine = state.machine
    layout = machine.layout
    ducts = [state.flow[layout.path_keys(unit.duct)[0]] for unit in layout.units]
    openings = [opening_air(machine, state, unit.name) for unit in layout.units]
    return [
        ("vacuum", "Pa", list(state.vacuum.values())),
        ("opening air", "kg/s", openings),
        ("duct air", "kg/s", ducts),
    ]


def _about_units(state: Any) -> str:
    if state.columns is not None:
        rows = [row for row in state.rows() if row["chance_weakest"] > 0.0]
        if not rows:
            return "No scenario has an answer"
        row = max(rows, key=lambda r: r["chance_weakest"])
        chance, unit = row["chance_weakest"], style.cut(row["unit"], 12)
        return f"Unit {unit} is weakest in {chance:.0%} of {len(state):,} scenarios"
    by_vacuum, by_air = style.cut(state.weakest, 12), style.cut(state.weakest_by_air, 12)
    if not by_vacuum:
        return "No unit's vacuum is known"
    if len(state.machine.layout.units) == 1:
        return f"Unit {by_vacuum}"
    if by_air != by_vacuum:
        return f"By vacuum unit {by_vacuum} is weakest, by air unit {by_air}"
    return f"Unit {by_vacuum} is weakest"


def fan_curves(state: Any, ax: Any, measures: str) -> None:
    """Where every fan works on its curve, at the speed and density it has."""
    if state.columns is not None:
        state = state[0] if len(state) else state
    names = some(state.machine.layout.fans, "the machine has no fan")
    curves = [(name, *_curve(state, name)) for name in names]
    drawn: list[tuple[Any, Any, list[str], float]] = []
    for name, flow, rise, last in curves:
        same = next(
            (d for d in drawn if np.allclose(d[0], flow) and np.allclose(d[1], rise, rtol=0.01)), None
        )
        if same:
            same[2].append(name)
        else:
            drawn.append((flow, rise, [name], last))
    for i, (flow, rise, _, last) in enumerate(drawn):
        x, y = in_measures(flow, "m3/s", measures), in_measures(rise, "Pa", measures)
        measured = flow <= last
        appearance = style.SERIES[i % len(style.SERIES)]
        ax.plot(x[measured], y[measured], color=appearance, ls=style.LINES[i % len(style.LINES)])
        ax.plot(x[~measured], y[~measured], color=appearance, ls=":", lw=1.2)
    for i, name in enumerate(names):
        q, p = _point(state, name)
        x, y = float(in_measures(q, "m3/s", measures)), float(in_measures(p, "Pa", measures))
        own = next(k for k, d in enumerate(drawn) if name in d[2])
        words = (
            f"{style.plain(name, 20)}: {style.shown(q, 'm3/s', measures)}, {style.shown(p, 'Pa', measures)}"
        )
        colour = style.SERIES[own % len(style.SERIES)]
        marker = style.MARKERS[i % len(style.MARKERS)]
        ax.plot(
            [x], [y], ls="", marker=marker, ms=8, mfc=style.PAPER, mec=colour, mew=1.8, label=words, zorder=5
        )
    ax.set_xlabel(style.measure("volume flow at the inlet", "m3/s", measures))
    ax.set_ylabel(style.measure("rise of total pressure", "Pa", measures))
    ax.set_xlim(left=0.0)
    ax.set_ylim(0.0, 1.12 * max(float(in_measures(d[1], "Pa", measures).max()) for d in drawn))
    light_grid(ax, "both")
    legend(ax, 1, title="dotted: beyond the points of the curve", alignment="left")
    finding(ax, "Where the fans work" if len(names) > 1 else "Where the fan works")


def _curve(state: Any, name: str) -> tuple[Any, Any, float]:
    """Volume flows [m3/s], rise of total pressure [Pa], and the flow at the curve's last point."""
    machine = state.machine
    path = stacked_path(machine, name)
    density = float(np.asarray(inlet_density(machine, state, name, path)))
    part = machine.part(name)
    at_point = _point(state, name)[0]
    last = 1.3 * abs(at_point)
    if getattr(part, "flow", None) is not None:
        last = (
            float(part.flow[-1])
            * float(running_speed(machine.part_numbers(), name))
            / float(part.curve_speed)
        )
    reach = max(1.12 * last, 1.1 * at_point)
    flow = np.union1d(np.linspace(0.0, reach, 160), [last])
    outside = machine.air().density
    air = LocalAir(density=np.full((1, flow.size), density), viscosity=1.8e-5, outside=outside)
    drop = path.law(flow[None, :] * density, air, **path.coefficients)[0]
    rise = -np.asarray(drop)[0]
    keep = (rise >= 0.0) | (flow <= last)
    return flow[keep], rise[keep], last


def _point(state: Any, name: str) -> tuple[float, float]:
    row = next(row for row in state.fan_rows() if row["fan"] == name)
    return row["flow_m3_s"], row["pressure_rise_Pa"]


MACHINE_PLOTS = {
    "drawing": Plot(draw_machine, "The air path, drawn from the description", whole=True),
}


STATE_PLOTS = {
    "units": Plot(
        units,
        "Vacuum, opening air and duct air of every unit",
        lambda state: (style.WIDTH, height(len(state.machine.layout.units), 0.9)),
    ),
    "fans": Plot(fan_curves, "The fans on their curves", (style.WIDTH, 3.7)),
    "drawing": Plot(draw_machine, "The air path, drawn from the description", whole=True),
}
