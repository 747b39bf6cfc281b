"""A user's script in the documented style; type checkers pass it as it stands, and it runs."""

from collections.abc import Iterable
from importlib.resources import files
from typing import Any

import numpy as np
import pandas as pd

import ductsim as ds
from ductsim.extend import Quantity, Value

EXAMPLES = files("ductsim") / "examples"

# ---- the first machine

machine = ds.demo("picker")
state = machine.solve()
print(state, state.weakest, state.vacuum["4"])
print(state.units.round(3).to_string())
print(state.flow["hose 1"], state.flow["jet 1", "motive"], state.pressure["door 4"], len(state))
sealed = machine.change({"hatch leak 4.area": "0 cm2", "belt.engine_speed": 210.0, "hose *.length": "x0.9"})
many = machine.change({"belt.engine_speed": np.linspace(190.0, 230.0, 3), "hose 3.length": ds.times(0.9)})
column = many.solve()
for one in column:
    print(one.ask("weakest vacuum"))
print(
    machine.ask("weakest vacuum"),
    machine.ask(["vacuum 1", "vacuum 4"])[1],
    sealed.sensitivity(of="weakest vacuum").table().head(3),
)
values, slopes = machine.jacobian(["weakest vacuum", "shaft power"], ["hose 3.length", "belt.engine_speed"])
print(values.shape, slopes[0, 1], machine.describe().table()["address"].iloc[0])
print(machine.numbers["hose 3.length"], machine.columns, machine.layout.title, machine.sources())
print(list(machine.questions())[:3], machine.diff(sealed).table())
text: dict[str, Any] = machine.document()
again = ds.Machine.of(text)
again.write("again.toml")
print(ds.Machine.read("again.toml").diff(machine))


# ---- parts at nodes


def hose(length: Quantity, diameter: Quantity = "6 in") -> ds.Hose:
    """A hose with a bend."""
    bend = ds.Bend(angle="90 deg", radius="0.3 m")
    return ds.Hose(length=length, diameter=diameter, bends=[bend])


fan = ds.Fan(
    flow=["0 m3/s", "1 m3/s", "2 m3/s"],
    total_pressure=np.array([6000.0, 6300.0, 3000.0]),
    speed="3600 rpm",
    curve_speed=3600 * 2 * np.pi / 60,
)
lengths = pd.Series([1.0, 1.5, 2.0])
network = ds.Network(ds.Air.at(temperature="26 degC", altitude=150.0))
network.add("fan", fan, "outside", "box")
network.add("hose", hose("1.8 m"), "box", "cuff").add("leak", ds.Leak(area="3 cm2"), "cuff", "outside")
network.add("duct", ds.Duct(length=lengths, diameter=[0.2, "20 cm", 0.2]), "cuff", "outside")
solved = network.solve()
print(solved.flow["hose"], solved.pressure["cuff"], solved.columns)
print(network.change({"hose.length": "2 m"}).ask("hose.flow"), network.table().shape)


# ---- a part and a question of one's own


@ds.law(equation="drop = k m |m|", valid="everywhere", sources=("our_assumption",))
def square(flow: Any, air: ds.LocalAir, *, k: Any) -> tuple[Any, Any, Any]:
    """A drop that goes with the square of the flow."""
    return k * flow * np.abs(flow), 2.0 * k * np.abs(flow), 0.0 * flow * air.density


@ds.part("straw mat")
class StrawMat(ds.Part):
    """A mat of straw across the air."""

    sources = ("our_assumption",)

    area: Value = ds.number("m2", above=0, spread=0.05, doc="area of the mat")
    thickness: Value = ds.number("m", above=0, default=0.01, spread=0.3, doc="thickness of the mat")

    def paths(self) -> tuple[ds.Path, ...]:
        """One path."""
        return (ds.Path(square, {"k": 100.0 * self.thickness / self.area**2}, self.area),)


mat = StrawMat(area="5000 cm2", thickness=[0.01, 0.02])
print(mat.thickness.mean(), ds.check_part(mat))


def no_names(layout: ds.Layout) -> Iterable[str]:
    """The question stands for itself, where there are hoses."""
    return [""] if any(part.schema.part.kind == "hose" for part in layout.parts) else []


@ds.add_word("mean hose air", no_names)
def mean_hose_air(layout: ds.Layout, name: str) -> ds.Question:
    """The mean flow in the hoses."""
    hoses = [part.name for part in layout.parts if part.schema.part.kind == "hose"]
    return ds.Question(
        "mean hose air",
        "kg/s",
        "mean air in the hoses",
        lambda machine, flows: sum(flows.flow[h] for h in hoses) / len(hoses),
    )


print(machine.ask("mean hose air"))

# ---- studies

fixes = ds.read_fixes(EXAMPLES / "picker_fixes.toml")
tape = ds.Fix("tape", change={"hatch leak 4.area": "150 cm2"}, minutes="5 min", cost=2, caution="seal")
compared = ds.compare(machine, [*fixes[:2], tape], of="weakest vacuum", budget="45 min")
print(compared, compared.table()[["fix", "gain_Pa"]].round(1), compared.order, compared.cautions)
swept = ds.sweep(machine, "hatch leak 4.area", ["0 cm2", "200 cm2"])
print(swept.table(measures="inch"), swept.to_json())
readings = pd.read_csv(str(EXAMPLES / "picker_readings.csv"), comment="#")
print(ds.check_readings(machine, readings[readings["set"] == "A"]))
seen = [
    {"ground_speed": "4.0 km/h", "crop_yield": "0.40 kg/m2"},
    {"ground_speed": "5.6 km/h", "crop_yield": "0.40 kg/m2", "blocked": "4"},
]
calibrated = ds.calibrate(machine, seen)
print(calibrated.median, ds.read_seen(EXAMPLES / "picker_seen.csv")[0].ground_speed)
crop = ds.Crop(ground_speed="4 km/h", crop_yield="0.4 kg/m2", row_spacing="0.76 m")
print(machine.with_crop(crop).crop, ds.read_field([0.3, 0.4], spacing="5 m").crop_yield)
print(ds.ensemble(machine, of=["weakest vacuum"], samples=50, seed=7).chance_weakest["4"])
