"""Synthetic truths and readings for tests of fitting: every number off, noise on every reading."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np

import ductsim as ds
from ductsim.readings.model import ReadingModel
from ductsim.readings.unknowns import default_scale, nuisances, unknowns_of

PICKER = Path(ds.__file__).parent / "examples" / "picker.toml"
RPM = np.pi / 30.0
SPEED = 2100.0 * RPM


def small_picker(units: int = 2, cuffs: bool = True) -> ds.Machine:
    """The picker with its first units only and one fan: quicker to solve; with leaks at its cuffs or not."""
    document = tomllib.loads(PICKER.read_text(encoding="utf-8"))
    document["unit"] = document["unit"][:units]
    document.pop("fill", None)
    document["part"] = [p for p in document["part"] if not p["name"].startswith("right")]
    if not cuffs:
        own = document["each_unit"]
        own["part"] = [p for p in own["part"] if not p["name"].startswith("cuff")]
        for unit in document["unit"]:
            unit.pop("cuff_leak")
        document["unknown"] = [u for u in document["unknown"] if not u["number"].startswith("cuff")]
    return ds.Machine.of(document).change({"belt.driving_pulley": "390 mm"})


def openings(machine: ds.Machine, side: str = "") -> tuple[str, ...]:
    """All crop openings, or those of one side ("front")."""
    return tuple(o for u in machine.layout.units for o in u.openings if o.startswith(side))


def plan(machine: ds.Machine) -> list[ds.Reading]:
    """Doors and air box at work, with all openings blanked, with the front ones blanked; one set each."""
    doors = [u.vacuum_at for u in machine.layout.units]
    return [
        ds.Reading(t, 0.0, engine_speed=SPEED, set=name, blanked=blanked)
        for name, blanked in (("A", ()), ("B", openings(machine)), ("C", openings(machine, "front")))
        for t in [*doors, "air box"]
    ]


def model_of(machine: ds.Machine, readings: list[ds.Reading]) -> ReadingModel:
    """The model that a fit of these readings uses."""
    scales = {u.address: u.scale(machine.layout) for u in unknowns_of(machine)}
    scales.update({name: default_scale(machine, name) for name in nuisances(machine, scales)})
    return ReadingModel(machine, readings, scales)


def read(model: ReadingModel, truth: np.ndarray, rng: np.random.Generator) -> list[ds.Reading]:
    """What the instruments show when the truth is at these coordinates."""
    true = model.predict(truth[:, None])[:, 0]
    shown = true + model.noise(true) * rng.standard_normal(len(true))
    sd = model.noise(true)
    return [
        replace(r, value=float(v), sd=float(s), line=i + 1)
        for i, (r, v, s) in enumerate(zip(model.readings, shown, sd, strict=True))
    ]
