"""Sliders for Jupyter: turn the engine up, close a leak, and watch every unit."""

from __future__ import annotations

import math
import time
import warnings
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from ..arguments import instance, listed, mapping, one_of
from ..cautions import ALWAYS, CAUTIONS
from ..display.tables import escaped
from ..errors import InputError, OutsideRange, UnknownName, shown
from ..machine.machine import Machine, MachineState
from ..quantity import display_measure, from_si, si, single, suited
from ..readings.unknowns import leak_sizes
from .beside import Against, Ticks
from .live import Picture

MOST_LEAKS = 4
SPEEDS = (0.6, 1.25)  # reach of a speed's slider, as shares of the speed at the start
WIDEST = 2.0  # reach of a leak's slider, as a share of the leak at the start
STEPS = 100


def explore(
    machine: Machine,
    numbers: str | Iterable[str] | None = None,
    ranges: Mapping[str, Sequence[Any]] | None = None,
    measures: str | None = None,
    fixes: Any = None,
    readings: Any = None,
) -> Explorer:
    """Sliders for the engine speed and for leaks, with a picture of the units that follows them (Jupyter).

    Parameters
    ----------
    machine : Machine
        A single one, without columns.
    numbers : str or sequence of str, optional
        Addresses or patterns ("hatch leak *.area") that get a slider beside the speeds; by default the
        sizes of the leaks that pass most air.
    ranges : mapping, optional
        Address -> (low, high) of its slider, numbers in SI or texts with their measures. By default
        speeds reach from 60 to 125 % of what they are, other numbers from 0 to twice as much.
    measures : str
        "metric" or "inch"; by default those that the machine is told in.
    fixes : what `read_fixes` takes, optional
        Each gets a box to tick: it is done on the machine as the sliders stand.
    readings : what `read_readings` takes, optional
        Held against the machine as it stands, under the conditions that they were taken in: how many fit,
        and which are farthest off.

    Returns
    -------
    Explorer
        Shown by Jupyter when it is the last line of a cell. Its `move` moves sliders from code.

    Raises
    ------
    ImportError
        Without ipywidgets.
    InputError
        For a machine with columns or without an answer, unknown addresses, and a number that is zero
        and has no range.
    """
    _widgets()
    return Explorer(machine, numbers, ranges, measures, fixes, readings)


def _widgets() -> Any:
    try:
        import ipywidgets
    except ImportError:
        raise ImportError(
            "explore needs ipywidgets, which is not installed: pip install 'ductsim[jupyter]'",
            name="ipywidgets",
        ) from None
    return ipywidgets


@dataclass(frozen=True)
class Control:
    """What one slider needs to know: address, ends in its own measure, and that measure's spelling."""

    address: str
    low: float
    high: float
    measure: str

    def shown(self, value: float) -> float:
        """An SI value as the slider shows it."""
        return float(from_si(value, self.measure))

    def read(self, value: float) -> float:
        """The SI value of the slider's number."""
        return float(si([value], self.measure)[0]) if self.measure else float(value)


class Explorer:
    """A machine with sliders; made by `explore`.

    Attributes
    ----------
    start, machine : Machine
        As given, and as the sliders stand with the ticked fixes done.
    ticked : tuple of str
        The names of those fixes.
    readings : Against or None
        The readings, with their misfits on that machine.
    state : MachineState
        The answer for `machine`.
    addresses : tuple of str
        The numbers that have a slider.
    seconds : list of float
        How long each move took, from the slider's message to the new picture [s].
    panel : ipywidgets.VBox
        Everything that is shown.
    """

    def __init__(
        self,
        machine: Machine,
        numbers: str | Iterable[str] | None = None,
        ranges: Mapping[str, Sequence[Any]] | None = None,
        measures: str | None = None,
        fixes: Any = None,
        readings: Any = None,
    ) -> None:
        instance(machine, Machine, "explore", "a machine", "a machine, as ds.Machine.read gives")
        measures = machine.measures if measures is None else measures
        display_measure("m", measures)
        if ranges is not None:
            mapping(ranges, "explore, ranges", "address -> (low, high)")
        if machine.columns is not None:
            raise InputError(
                "the machine has columns", place="explore", allowed="one of its scenarios: machine[0]"
            )
        self.start = self.machine = self._set = machine
        self.ticked: tuple[str, ...] = ()
        self.measures = measures
        self.state = machine.solve()
        self.seconds: list[float] = []
        self._controls = _controls(machine, self.state, numbers, ranges or {}, measures)
        self._picture = Picture(self.state.rows(), measures)
        self._quiet = False
        self._ticks = Ticks(machine, fixes)
        self.readings = None if readings is None else Against(machine, readings)
        self._build()

    @property
    def addresses(self) -> tuple[str, ...]:
        """The numbers that have a slider."""
        return tuple(self._controls)

    def move(self, change: Mapping[str, Any]) -> float:
        """Move sliders from code; returns how long it took [s].

        Parameters
        ----------
        change : mapping
            Address of a slider -> what `Machine.change` takes: a number in SI, "2000 rpm", "x0.5". A
            slider stretches where the value lies beyond its ends.

        Raises
        ------
        InputError
            For an address without a slider (UnknownName), and for a value that is none or out of range.
        """
        for address in change:
            if address not in self._controls:
                raise UnknownName.of("slider", address, self._controls, place="explore")
        began = time.perf_counter()
        machine = self._set.change(change)
        done = self._ticks.done(machine, self.ticked)
        self._quiet = True
        try:
            for address in change:
                value = self._controls[address].shown(machine.numbers[address])
                slider = self._sliders[address]
                slider.min, slider.max = min(slider.min, value), max(slider.max, value)
                slider.value = value
        finally:
            self._quiet = False
        return self._follow(machine, done, began)

    def tick(self, *names: str) -> float:
        """Have these fixes done and no others; returns how long it took [s].

        Raises
        ------
        InputError
            For a name that no box has (UnknownName), and fixes that cannot be done where the sliders stand.
        """
        for name in names:
            one_of(name, self._ticks.fixes, "explore, tick", "fix")
        began = time.perf_counter()
        done = self._ticks.done(self._set, names)
        self.ticked = names
        self._quiet = True
        try:
            for name, box in self._boxes.items():
                box.value = name in names
        finally:
            self._quiet = False
        return self._follow(self._set, done, began)

    def reset(self) -> float:
        """All sliders back to the start, no fix ticked; returns how long it took [s]."""
        began = time.perf_counter()
        if self.ticked:
            self.tick()
        self.move({address: self.start.numbers[address] for address in self._controls})
        return time.perf_counter() - began

    def _moved(self, address: str, event: Any) -> None:
        """What a slider calls."""
        if self._quiet:
            return
        began = time.perf_counter()
        try:
            machine = self._set.change({address: self._controls[address].read(event.new)})
            self._follow(machine, self._ticks.done(machine, self.ticked), began)
        except InputError as err:
            self._said.value = _warned([str(err)])

    def _ticked(self, name: str, event: Any) -> None:
        """What a box calls."""
        if self._quiet:
            return
        names = [*self.ticked, name] if event.new else [own for own in self.ticked if own != name]
        try:
            self.tick(*names)
        except InputError as err:
            self._said.value = _warned([str(err)])

    def _follow(self, set_to: Machine, machine: Machine, began: float) -> float:
        self._set, self.machine, self.state = set_to, machine, _solved(machine)
        if self.readings is not None:
            self.readings.look(machine)
        self._shown.value = self.svg()
        self.seconds.append(time.perf_counter() - began)
        self._said.value = self._words()
        return self.seconds[-1]

    # ---- what is shown

    def svg(self) -> str:
        """The picture of the units as they are now, beside those at the start."""
        return self._picture.svg(self.state.rows(), self.state.weakest)

    def sentences(self) -> list[str]:
        """The answer as the sliders stand, the weakest unit first."""
        return [*self._told(), *self.state.notes]

    def _told(self) -> list[str]:
        held = [] if self.readings is None else [self.readings.sentence(self.measures)]
        return [*self.state.sentences(self.measures), *self._ticks.words(self.ticked), *held]

    def _words(self) -> str:
        plain = [f"<div>{escaped(words)}</div>" for words in self._told()]
        far = "" if self.readings is None else self.readings.table(self.measures)
        took = f"This move took {1000.0 * self.seconds[-1]:.0f} ms." if self.seconds else ""
        own = self._ticks.cautions(self._set, self.ticked)
        texts = dict.fromkeys([CAUTIONS["lock_out"], CAUTIONS["highest_speed"], *own])
        notes = [*(text for text in texts if text != ALWAYS), ALWAYS]
        small = "".join(f"<div>{escaped(words)}</div>" for words in notes)
        return (
            f'<div style="line-height:1.45">{"".join(plain)}{_warned(self.state.notes)}{far}'
            f'<div style="color:#55636a;font-size:90%">{took}</div>'
            f'<details style="font-size:90%"><summary>Before you change the machine</summary>{small}'
            "</details></div>"
        )

    def _build(self) -> None:
        widgets = _widgets()
        wide = {"description_width": "15em"}
        self._sliders: dict[str, Any] = {}
        for address, control in self._controls.items():
            value = control.shown(self.machine.numbers[address])
            step = _step(control.high - control.low)
            slider = widgets.FloatSlider(
                value=value,
                min=min(control.low, value),
                max=max(control.high, value),
                step=step,
                readout_format=f",.{max(0, -math.floor(math.log10(step)))}f",
                description=f"{address} [{control.measure}]" if control.measure else address,
                style=wide,
                layout=widgets.Layout(width="100%", max_width=f"{4 * 170}px"),
            )
            slider.observe(partial(self._moved, address), names="value")
            self._sliders[address] = slider
        self._boxes: dict[str, Any] = {}
        for name, fix in self._ticks.fixes.items():
            words = f"{name}: {fix.minutes:g} min"
            box = widgets.Checkbox(value=False, description=words, indent=False)
            box.observe(partial(self._ticked, name), names="value")
            self._boxes[name] = box
        refused = [widgets.HTML(_warned(self._ticks.problems))] if self._ticks.problems else []
        back = widgets.Button(description="back to the start")
        back.on_click(lambda _: self.reset())
        self._shown = widgets.HTML(self.svg())
        self._said = widgets.HTML(self._words())
        self.panel = widgets.VBox(
            [*self._sliders.values(), *self._boxes.values(), *refused, back, self._shown, self._said]
        )

    def _repr_mimebundle_(self, **asked: Any) -> dict[str, Any]:
        """The panel, and for a page without live sliders the picture and what there is to say."""
        still = "".join(f"<p>{escaped(words)}</p>" for words in self.sentences())
        bundle = dict(self.panel._repr_mimebundle_(**asked))
        return {**bundle, "text/plain": repr(self), "text/html": f"<div>{self.svg()}{still}</div>"}

    def __str__(self) -> str:
        return "\n".join(self.sentences())

    def __repr__(self) -> str:
        return f"<Explorer: {len(self._controls)} sliders; {self.sentences()[0]}>"


def _solved(machine: Machine) -> MachineState:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", OutsideRange)  # said among the notes
        return machine.solve(raise_error=False)


def _warned(sentences: Iterable[str]) -> str:
    return "".join(
        f'<div style="color:#a33f0e;font-weight:bold">{escaped(words)}</div>' for words in sentences
    )


def _step(reach: float) -> float:
    """A round step of about a hundredth of a slider's reach."""
    rough = reach / STEPS
    power = 10.0 ** math.floor(math.log10(rough))
    return power * next(times for times in (1.0, 2.0, 5.0, 10.0) if times * power >= 0.999 * rough)


# ---- which numbers, and how far


def _controls(
    machine: Machine,
    state: MachineState,
    numbers: str | Iterable[str] | None,
    ranges: Mapping[str, Sequence[Any]],
    measures: str,
) -> dict[str, Control]:
    layout = machine.layout
    speeds = _speeds(machine)
    patterns = (
        _leaks(machine, state)
        if numbers is None
        else [numbers]
        if isinstance(numbers, str)
        else listed(numbers, "explore, numbers", "a list of addresses")
    )
    others = [address for pattern in patterns for address in layout.expand(pattern)]
    chosen = list(dict.fromkeys([*speeds, *others]))
    given = {address: ends for pattern, ends in ranges.items() for address in layout.expand(pattern)}
    for address in given:
        if address not in chosen:
            raise UnknownName.of("slider", address, chosen, place="explore: ranges")
    return {a: _control(machine, a, given.get(a), a in speeds, measures) for a in chosen}


def _speeds(machine: Machine) -> list[str]:
    """The speed of every drive that turns a fan, and of every fan that has none."""
    layout = machine.layout
    drives = {part.drive for part in layout.parts if part.drive}
    out = [f"{drive.name}.engine_speed" for drive in layout.drives if drive.name in drives]
    out = [address for address in out if address in machine.numbers]
    single = [name for name in machine.layout.fans if not layout.part[name].drive]
    return out + [f"{name}.speed" for name in single if f"{name}.speed" in machine.numbers]


def _leaks(machine: Machine, state: MachineState) -> list[str]:
    """The sizes of the leaks that pass most air."""
    layout = machine.layout
    found = []
    for address in leak_sizes(layout):
        if machine.numbers[address]:
            flow = abs(float(state.flow[layout.path_keys(address.partition(".")[0])[0]]))
            found.append((-flow, address))
    return [address for _, address in sorted(found)[:MOST_LEAKS]]


def _control(
    machine: Machine, address: str, ends: Sequence[Any] | None, is_speed: bool, measures: str
) -> Control:
    declared = machine.layout.declared[address]
    value = float(machine.numbers[address])
    low, high = (
        _ends(declared.measure, ends, address) if ends is not None else _usual(value, address, is_speed)
    )
    low, high = max(low, declared.low), min(high, declared.high)
    measure = display_measure(suited(declared.measure, max(abs(low), abs(high))), measures)
    low, high = (float(from_si(end, measure)) for end in (low, high))
    if not low < high:
        raise InputError(
            f"a slider from {low:g} to {high:g}", place=f"explore: {address}", allowed="the low end first"
        )
    if ends is None:  # round ends, which a slider's steps meet
        step = _step(high - low)
        low, high = step * math.floor(low / step + 1e-9), step * math.ceil(high / step - 1e-9)
    return Control(address, low, high, measure)


def _ends(measure: str, ends: Any, address: str) -> tuple[float, float]:
    place = f"explore: ranges: {address}"
    try:
        found = ends if hasattr(ends, "m_as") else listed(ends, "", "")
    except InputError:
        found = []
    if np.ndim(getattr(found, "magnitude", [0])) != 1 or len(found) != 2:
        raise InputError(f"{shown(ends)} is no range", place=place, allowed="two numbers, low and high")
    low, high = (single(end, measure, place) for end in found)
    return low, high


def _usual(value: float, address: str, is_speed: bool) -> tuple[float, float]:
    if not value:
        raise InputError(
            f"{address} is 0, so that its slider has no usual reach",
            place="explore",
            allowed=f"give one: ranges={{{address!r}: (low, high)}}",
        )
    if is_speed:
        return SPEEDS[0] * value, SPEEDS[1] * value
    return min(0.0, WIDEST * value), max(0.0, WIDEST * value)
