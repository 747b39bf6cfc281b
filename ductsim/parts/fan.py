"""Fans by their points, by their wheel, or by one measured point."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Sequence
from typing import Any, Self

import numpy as np

from ..arguments import one_of
from ..errors import InputError
from ..laws.fans import (
    curve_coefficients,
    fan,
    power_by_curve,
    power_by_efficiency,
    power_coefficients,
)
from ..quantity import si
from .declare import OptionalValue, OptionalValues, Part, Path, Value, Values, number, part, word
from .fan_ends import FAN_ENDS
from .mishaps import Mishap
from .wheels import ASSUMED_SPREADS, WHEELS

# A backward-curved wheel without dimensions: flow over (pi D b u), total pressure over (rho u^2 / 2).
# Our assumption; the shape of a single maker's curve may differ by 15 % and more.
SHAPE = ((0.0, 0.95), (0.06, 1.02), (0.12, 1.0), (0.18, 0.86), (0.24, 0.60), (0.30, 0.25))
DESIGN = SHAPE[3]
MOST_PRESSURE = 1e8
"""Of a curve [Pa], a thousand times what the air outside stands at: beyond, it is nothing but a cliff."""
STANDARD_AIR = 1.2
"""Density that fan curves are stated for where nothing else is said [kg/m3]; common practice."""
ROUNDING = 1e-15
"""Flows nearer to each other than this share of the largest are one: the slope between them is no number."""
SHAPE_WORDS = {
    **dict.fromkeys(
        ("backward", "backward-inclined", "backward-curve", "backwards-curved"), "backward-curved"
    ),
    **dict.fromkeys(("forward", "forward-curve", "forwards-curved", "multivane"), "forward-curved"),
    **dict.fromkeys(("straight", "paddle", "radial-blade", "straight-radial"), "radial"),
}
"""What people call a shape -> its word."""
ASSUMED_SPREAD = ASSUMED_SPREADS["assumed"]
"""Relative spread of the pressures of a fan whose curve is assumed, not measured [-]; our assumption."""


@part("fan")
class Fan(Part):
    """A fan, by points of its curve at a stated speed and density.

    Give `total_pressure`, or `static_pressure` with `outlet_area` (the velocity pressure there is added). Of
    a free `outlet`, into a box or the open air, that velocity pressure is lost; one that says nothing and
    lies there is free where its `outlet_area` is known. `inlet_loss` and
    `outlet_loss` are what the ducts at its ends take from it, on the velocity pressure in `inlet_area` (or
    else `outlet_area`) and in `outlet_area`; `ds.FAN_ENDS` has published values. Shaft power stays that of
    the curve. The points are joined by a monotone cubic; beyond them the curve goes on as a parabola. A
    rising stretch is allowed. Shaft power comes from `shaft_power` at the points, or else from `efficiency`.
    """

    crop_ways = ()
    sources = ("fan_laws", "fritsch_carlson1980", "our_assumption")
    is_fan = True
    assumed = {
        "typical": ("wheel_diameter", "width", "speed"),
        "through": ("flow", "total_pressure", "speed"),
    }
    assumed_more = {"typical": ("shape", "pressure"), "through": ("shape",)}
    faults = ("soiling",)
    switches = {"belt": ("belt_slip", {"off": 1.0, "on": 0.0})}
    mishaps = (
        Mishap("stands still (drive off)", "it is silent and its wheel stands or coasts", {"speed": 0.0}),
        Mishap("is soiled by a fifth", "it shakes more than before", {"soiling": 0.2}),
    )
    work_on = {"soiling": "clean", "speed": "speed"}
    symbol = "fan"
    choices = (("total_pressure",), ("static_pressure",))

    flow: Values = number(
        "m3/s", at_least=0, points=True, doc="volume flow at the points of the curve, rising"
    )
    total_pressure: OptionalValues = number(
        "Pa",
        at_least=0,
        at_most=MOST_PRESSURE,
        default=None,
        points=True,
        spread=0.04,
        doc="total-pressure rise at the points",
    )
    static_pressure: OptionalValues = number(
        "Pa",
        at_least=0,
        at_most=MOST_PRESSURE,
        default=None,
        points=True,
        spread=0.04,
        doc="fan static pressure at the points",
    )
    outlet_area: OptionalValue = number(
        "m2", above=0, default=None, spread=0.02, doc="outlet that the static pressure refers to"
    )
    inlet_area: OptionalValue = number("m2", above=0, default=None, spread=0.02, doc="section of its eye")
    inlet_loss: OptionalValue = number(
        "",
        at_least=0,
        at_most=20,
        default=None,
        spread=0.3,
        doc="what a bend or too little straight duct before the eye takes, on the velocity there",
        words=tuple(end.choice(word) for word, end in FAN_ENDS.items() if end.number == "inlet_loss"),
    )
    outlet_loss: OptionalValue = number(
        "",
        at_least=0,
        at_most=20,
        default=None,
        spread=0.3,
        doc="what a bend or too little straight duct behind the outlet takes, on the velocity there",
        words=tuple(end.choice(word) for word, end in FAN_ENDS.items() if end.number == "outlet_loss"),
    )
    outlet: str | None = word(
        "ducted",
        "free",
        default=None,
        doc="whether a duct goes on, or it blows into a box or outside; by its node if not given",
    )
    shaft_power: OptionalValues = number(
        "W", at_least=0, default=None, points=True, spread=0.05, doc="shaft power at the points"
    )
    efficiency: Value = number(
        "",
        above=0,
        at_most=1,
        default=0.60,
        spread=0.1,
        doc="total efficiency, used where shaft power is not given",
    )
    curve_speed: Value = number(
        "rad/s", above=0, at_most=1000, doc="speed that the curve belongs to", cure="write '3600 rpm'"
    )
    curve_density: Value = number(
        "kg/m3", above=0, at_most=20, default=STANDARD_AIR, doc="density that the curve belongs to"
    )
    speed: Value = number(
        "rad/s", at_least=0, at_most=1000, spread=0.01, doc="speed it runs at", cure="write '3600 rpm'"
    )
    highest_speed: OptionalValue = number(
        "rad/s",
        above=0,
        at_most=1000,
        default=None,
        doc="highest speed its maker allows",
        cure="write '4200 rpm'",
    )
    soiling: Value = number(
        "",
        at_least=0,
        below=1,
        default=0.0,
        spread=0.3,
        doc="share of its pressure lost to soiled or worn blades",
    )
    belt_slip: Value = number(
        "",
        at_least=0,
        at_most=1,
        default=0.0,
        spread=0.5,
        doc="share of its speed that its own belt loses beside the drive's slip; 1 = belt off",
    )
    standing_loss: Value = number(
        "",
        at_least=0.05,
        at_most=20,
        default=1.0,
        spread=0.5,
        doc="drop of the stopped fan at its largest flow, over its peak pressure",
    )
    inlet_temperature: OptionalValue = number(
        "K",
        at_least=200,
        at_most=350,
        default=None,
        spread=0.01,
        doc="temperature of the air it draws in, where not that outside",
        cure="write '45 degC'",
    )
    pressure_scale: OptionalValue = number(
        "",
        at_least=0.05,
        at_most=20,
        default=None,
        spread=ASSUMED_SPREAD,
        doc="factor on the pressures and the power of an assumed curve, for readings to find",
    )
    curve: str = word(
        "measured", *ASSUMED_SPREADS, default="measured", doc="where the curve comes from; whose shape it has"
    )

    @classmethod
    def examples(cls) -> list[Fan]:
        """Fans for `check_part`, in all their forms; their points must fit each other."""
        shape: Any = {"flow": [0.0, 1.0, 1.5, 2.0, 2.5, 3.0], "curve_speed": "3600 rpm", "speed": "3400 rpm"}
        rising = [6000.0, 6350.0, 5850.0, 4900.0, 3500.0, 1650.0]
        watts = [6e3, 9e3, 12e3, 14e3, 15e3, 14e3]
        two: Any = {"curve_speed": 150.0, "speed": 160.0}
        return [
            cls(**shape, total_pressure=rising, highest_speed=440.0),
            cls(**shape, total_pressure=rising, soiling=0.2, shaft_power=watts),
            cls(**shape, static_pressure=rising, outlet_area=0.12, inlet_temperature=318.15),
            cls(**(shape | {"speed": 0.0}), total_pressure=rising, standing_loss=0.3),
            cls(
                **shape,
                total_pressure=rising,
                outlet_area=0.12,
                outlet="free",
                inlet_loss=1.2,
                inlet_area=0.1,
            ),
            cls(**shape, static_pressure=rising, outlet_area=0.12, outlet_loss=0.5, belt_slip=0.4),
            cls(**two, flow=[0.5, 2.0], total_pressure=[900.0, 0.0]),
            cls(**two, flow=[0.2, 1.0, 2.0], total_pressure=[500.0, 900.0, 1000.0]),
            cls.typical(wheel_diameter=0.5, width=0.12, speed="3600 rpm"),
            cls.typical(wheel_diameter=0.5, width=0.12, speed="3600 rpm", shape="radial"),
            cls.typical(wheel_diameter=0.5, width=0.2, speed=100.0, shape="forward-curved"),
            cls.through(flow=1.8, total_pressure="5.3 kPa", speed="3600 rpm", soiling=0.1),
        ]

    def check(self) -> None:
        """As many pressures as flows, at least two, flows rising, some pressure above zero."""
        n = len(self.flow)
        if not 2 <= n <= 200:
            raise InputError(
                f"{n} points of the curve", place="fan: flow", allowed="2 to 200 points, best 4 to 8"
            )
        for name in ("total_pressure", "static_pressure", "shaft_power"):
            values = getattr(self, name)
            if values is not None and len(values) != n:
                raise InputError(
                    f"{len(values)} values for {n} flows",
                    place=f"fan: {name}",
                    allowed="as many values as flows",
                )
        for i in range(1, n):
            if not np.all(np.greater(self.flow[i], self.flow[i - 1] + ROUNDING * self.flow[-1])):
                raise InputError(
                    "the flows do not rise from point to point",
                    place=f"fan: flow[{i}]",
                    allowed="each flow larger than the one before",
                )
        self._check_ends()
        if not np.all(np.greater(self._peak(self._clean()), 0.0)):
            raise InputError("no pressure is above zero", place="fan", allowed="a curve with some pressure")

    def _check_ends(self) -> None:
        """Whatever refers to the velocity at an end needs the section there."""
        if self.outlet_area is not None:
            return
        needing = {
            "static_pressure": self.static_pressure is not None,
            "outlet = 'free'": self.outlet == "free",
            "outlet_loss": self.outlet_loss is not None,
            "inlet_loss": self.inlet_loss is not None and self.inlet_area is None,
        }
        for what, needs in needing.items():
            if needs:
                also = " or inlet_area" if what == "inlet_loss" else ""
                raise InputError(
                    f"{what} without outlet_area{also}", place="fan", allowed="give the section as well"
                )

    def placed(self, nodes: Sequence[str], free: Collection[str]) -> Self:
        """The fan between these nodes: an outlet of known area at a free one is free if it says nothing."""
        if self.outlet is not None or self.outlet_area is None or nodes[-1] not in free:
            return self
        out = object.__new__(type(self))
        out.__dict__.update(self.__dict__, outlet="free")
        return out

    @classmethod
    def ducted(cls, nodes: Sequence[str], free: Collection[str]) -> dict[str, str]:
        """The word that keeps an outlet at a node in `free` from being free."""
        return {"outlet": "ducted"} if nodes[-1] in free else {}

    def _end_losses(self) -> Any:
        """Coefficient / (2 area^2) of all that is lost at its ends [1/m4]."""
        out: Any = 0.0
        if self.outlet_area is not None:
            lost = (1.0 if self.outlet == "free" else 0.0) + (
                0.0 if self.outlet_loss is None else self.outlet_loss
            )
            out = out + 0.5 * lost / (self.outlet_area * self.outlet_area)
        if self.inlet_loss is not None:
            eye: Any = self.outlet_area if self.inlet_area is None else self.inlet_area
            out = out + 0.5 * self.inlet_loss / (eye * eye)
        return out

    def _clean(self) -> list[Any]:
        if self.total_pressure is not None:
            return list(self.total_pressure)
        half = 0.5 * self.curve_density
        return [
            p + half * (q / self.outlet_area) ** 2
            for q, p in zip(self.flow, self.static_pressure, strict=True)
        ]

    @staticmethod
    def _peak(pressure: list[Any]) -> Any:
        peak = pressure[0]
        for p in pressure[1:]:
            peak = np.maximum(peak, p)
        return peak

    def paths(self) -> tuple[Path, ...]:
        """One path by the fan law."""
        clean = self._clean()
        scale = 1.0 if self.pressure_scale is None else self.pressure_scale
        clean = [p * scale for p in clean]
        share = 1.0 - self.soiling
        ratio = self.speed * (1.0 - self.belt_slip) / self.curve_speed
        flow = list(self.flow)
        c = curve_coefficients(flow, [p * share for p in clean], self._peak(clean), self.standing_loss)
        c |= {"speed": ratio, "curve_density": self.curve_density, "loss": self._end_losses()}
        if self.shaft_power is not None:
            c |= power_coefficients(flow, [power * scale for power in self.shaft_power])
            power: Any = power_by_curve
        else:
            # at the same flow a soiled fan takes the shaft power of the clean one
            c["efficiency"] = self.efficiency * share
            power = power_by_efficiency
        return (
            Path(
                fan,
                c,
                self.flow[-1] / 20.0 if self.outlet_area is None else self.outlet_area,
                start=0.6 * self.curve_density * ratio * self.flow[-1],
                density="inlet",
                power=power,
                inlet_temperature=self.inlet_temperature,
            ),
        )

    @classmethod
    def typical(
        cls,
        *,
        wheel_diameter: Any,
        width: Any,
        speed: Any,
        shape: str = "",
        pressure: Any = None,
        **more: Any,
    ) -> Fan:
        """A fan known by its wheel only: the assumed curve of its shape, by default a backward-curved wheel.

        Parameters
        ----------
        wheel_diameter, width : number, text or column
            Outer diameter of the wheel and width of its blades at the outer edge [m].
        speed : number, text or column
            Speed [rad/s].
        shape : str, optional
            "radial", "backward-curved" or "forward-curved" blades (`ductsim.parts.wheels`): the power curve
            comes with it, and `pressure_scale`, for readings to find.
        pressure : number, text or column, optional
            What the box shows at this speed with all openings taped [Pa]: the fan then moves next to no air,
            and its whole curve is scaled to make this pressure there.
        **more
            Further fields of a fan (soiling, efficiency, highest_speed ...). The curve is that in air of
            `curve_density`, 1.2 kg/m3 if not given.

        The pressures may be wrong by 15 % and more (`ASSUMED_SPREAD`): compare units and fixes with it,
        do not trust its absolute level.
        """
        d, b, w = si(wheel_diameter, "m"), si(width, "m"), si(speed, "rad/s")
        for name, value in (("wheel_diameter", d), ("width", b), ("speed", w)):
            if not np.all(np.greater(value, 0.0)) or not np.all(np.isfinite(value)):
                raise InputError(f"{value} is out of range", place=f"fan: {name}", allowed="allowed: above 0")
        tip = 0.5 * w * d
        rho = si(more.get("curve_density", STANDARD_AIR), "kg/m3")
        level: Any = 1.0
        if pressure is not None:
            level = _above_zero("pressure", si(pressure, "Pa")) / (0.5 * rho * tip * tip)
            level = level / (WHEELS[_known_shape(shape)].pressure[0] if shape else SHAPE[0][1])
        point = "one point" if pressure is not None else ""
        return cls._shaped(math.pi * d * b * tip, level * 0.5 * rho * tip * tip, w, more, shape, point)

    @classmethod
    def through(cls, *, flow: Any, total_pressure: Any, speed: Any, shape: str = "", **more: Any) -> Fan:
        """A fan known by one measured point, taken as the design point of the assumed curve.

        Parameters
        ----------
        flow : number, text or column
            Volume flow at that point [m3/s].
        total_pressure : number, text or column
            Total-pressure rise at that point in air of `curve_density`, 1.2 kg/m3 if not given [Pa].
        speed : number, text or column
            Speed at that point, and now [rad/s].
        shape : str, optional
            "radial", "backward-curved" or "forward-curved" blades, whose assumed curve it then has.
        **more
            Further fields of a fan.

        Away from the point the pressures may be wrong by 15 % and more (`ASSUMED_SPREAD`).
        """
        q, p, w = si(flow, "m3/s"), si(total_pressure, "Pa"), si(speed, "rad/s")
        for name, value in (("flow", q), ("total_pressure", p), ("speed", w)):
            if not np.all(np.greater(value, 0.0)) or not np.all(np.isfinite(value)):
                raise InputError(f"{value} is out of range", place=f"fan: {name}", allowed="allowed: above 0")
        design = DESIGN
        if shape:
            wheel = WHEELS[_known_shape(shape)]
            design = wheel.flow[wheel.design], wheel.pressure[wheel.design]
        point = "one point" if shape else ""
        return cls._shaped(q / design[0], p / design[1], w, more, shape, point)

    @classmethod
    def _shaped(
        cls, flow_scale: Any, level: Any, speed: Any, more: dict[str, Any], shape: str = "", point: str = ""
    ) -> Fan:
        for key in more:
            if key not in cls.declared:
                raise InputError(f"unknown key {key!r}", place="fan", allowed="the fields of a fan")
        shape = _known_shape(shape) if shape else ""
        plain: dict[str, Any] = {"curve_speed": speed, "speed": speed, "curve": point or shape or "assumed"}
        if shape:
            wheel = WHEELS[shape]
            points = zip(wheel.flow, wheel.pressure, strict=True)
            power = [y * flow_scale * level for y in wheel.power]
            plain |= {} if "efficiency" in more else {"shaft_power": power}
        else:
            points = zip(*zip(*SHAPE, strict=True), strict=True)
        curve = [(x * flow_scale, y * level) for x, y in points]
        plain |= {"flow": [x for x, _ in curve], "total_pressure": [y for _, y in curve]}
        if shape or point:
            plain["pressure_scale"] = 1.0
        return cls(**plain | more)


def _known_shape(shape: Any) -> str:
    plain = re.sub(r"[ _]+", "-", shape.casefold().strip()) if isinstance(shape, str) else shape
    return one_of(SHAPE_WORDS.get(plain, plain), WHEELS, "fan, shape", "word")


def _above_zero(name: str, value: Any) -> Any:
    if not np.all(np.greater(value, 0.0)):
        raise InputError(f"{value} is out of range", place=f"fan: {name}", allowed="allowed: above 0")
    return value
