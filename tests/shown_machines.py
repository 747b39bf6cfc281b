"""Machines for the tests of plots, drawings and reports: small, and with names that could do harm."""

from __future__ import annotations

import tomllib
from typing import Any

import ductsim as ds
from ductsim.machine.demos import demo_file

EVIL = "<script>hit = 1</script>"
LONG = "left head " + "x" * 180 + " end"
FORMULA = '$x_1$ & "left"'


def bench_document() -> dict[str, Any]:
    """The bench as tables."""
    return tomllib.loads(demo_file("bench").read_text(encoding="utf-8"))


def leaky_bench() -> ds.Machine:
    """The bench with a leak at each head, so that readings have something to tell; the left one is large."""
    document = bench_document()
    for side, area in (("left", "40 cm2"), ("right", "8 cm2")):
        leak = {"name": f"{side} leak", "kind": "leak", "from": "outside", "to": f"{side} head", "area": area}
        document["part"].append(leak)
    document["unknown"] = [
        {"number": f"{side} leak.area", "low": "0 cm2", "likely": "10 cm2", "high": "80 cm2"}
        for side in ("left", "right")
    ]
    return ds.Machine.of(document)


def renamed(names: dict[str, str], title: str = "") -> ds.Machine:
    """The bench with other names."""

    def walk(item: Any) -> Any:
        if isinstance(item, dict):
            return {key: value if key == "kind" else walk(value) for key, value in item.items()}
        if isinstance(item, list):
            return [walk(value) for value in item]
        return names.get(item, item) if isinstance(item, str) else item

    document = walk(bench_document())
    document["title"] = title or document["title"]
    return ds.Machine.of(document)


def harmful() -> ds.Machine:
    """The bench with markup, formulas and 200 characters in its names."""
    names = {"left head": LONG, "right mouth": EVIL, "left": FORMULA, "right": "R" * 200}
    names |= {
        "fan": "\N{CJK UNIFIED IDEOGRAPH-65E5} fan $a$",
        "right tapping": "&lt;img src=x&gt; " + "tap " * 40,
    }
    return renamed({k: v.strip() for k, v in names.items()}, '<img src=x onerror="window.hit=1"> title')


def joined(parts: list[tuple[str, str, str]], hold_all: bool = False) -> ds.Machine:
    """A machine of openings: (name, from, to); ends that nothing else touches are held at a pressure."""
    own = [
        {"name": name, "kind": "opening", "from": a, "to": b, "area": "100 cm2", "loss_coefficient": 1.5}
        for name, a, b in parts
    ]
    ends = [node for _, a, b in parts for node in (a, b) if node != "outside"]
    single = [node for node in dict.fromkeys(ends) if hold_all or ends.count(node) == 1] or ends[:1]
    held = [{"node": node, "pressure": "500 Pa"} for node in single]
    return ds.Machine.of({"format": 1, "title": "joined", "air": {"density": 1.2}, "part": own, "hold": held})
