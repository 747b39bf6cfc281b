"""An invented season of a small leaky machine: what was true, and the visits that read it."""

import numpy as np
from shown_machines import leaky_bench

import ductsim as ds

SEAL = ds.Fix("seal left", {"left leak.area": "1 cm2"}, minutes=10, caution="seal")
WIDER = ds.Fix("wider mouth", {"left mouth.area": "350 cm2"}, minutes=10)


def read(machine, seed=0, error=0.3):
    """Readings of a machine with errors of the gauge [Pa], as untaped and with mouths taped."""
    rng = np.random.default_rng(seed)
    rows = []
    for blanked in ((), ("left mouth", "right mouth")):
        state = machine.change({f"{name}.area": 0.0 for name in blanked}).solve()
        for name in ("left tapping", "right tapping"):
            value = float(state.ask(f"tapping {name}")) + error * rng.standard_normal()
            own = {"tapping": name, "value": value, "set": str(seed), "blanked": list(blanked)}
            rows.append({**own, "engine_speed": machine.numbers["fan.speed"]})
    return ds.read_readings(rows)


def season(folder):
    """Four visits: a leak is sealed and holds, another one opens by and by."""
    folder.mkdir()
    document = leaky_bench().document()
    for unknown in document["unknown"]:
        unknown["high"] = "300 cm2"
    described = ds.Machine.of(document)
    described.write(folder / "machine.toml")
    machine = described.change({"left leak.area": "200 cm2"})
    sealed = SEAL.on(machine)
    torn = sealed.change({"right leak.area": "90 cm2"})
    ds.log_visit(
        folder,
        "2026-09-01",
        readings=read(machine, 1),
        fixes=SEAL,
        after=read(sealed, 2),
        engine_hours=100,
        seen="left seal torn",
    )
    ds.log_visit(folder, "2026-09-08", engine_hours="140 h", seen=["nothing new", "belt dusty"])
    ds.log_visit(folder, "2026-09-15", readings=read(torn, 3), fixes=[WIDER], engine_hours=200)
    ds.log_visit(folder, "2026-09-15", readings=read(WIDER.on(torn), 4), engine_hours=201)
    return folder
