"""Hostile networks of layouts that machines have: free ends, boxes, flaps, fans with eyes and own belts.

`hostile_networks` grows any graph of ducts that lose nothing at their ends. This builds chains, ladders,
stars, rings, trees, hoses that drive jets, fans behind and beside each other, of the same unlikely parts:
what is free in a network is settled by where it stands. Seeds and the check are alike.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from hostile_networks import Hostile, Maker

import ductsim as ds
from ductsim.errors import InputError

FIRST = 770_000  # of the seeds, so that none is one of the other generator's
MOST = 14  # rungs, rays, units


class Built(Hostile):
    """What `Network` is given, with its boxes; ends are free there and outside."""

    boxes: tuple[str, ...] = ()
    free_ends = True

    def network(self) -> Any:
        net = ds.Network(self.air, free_ends=self.free_ends, boxes=self.boxes if self.free_ends else ())
        for name, (part, ends) in self.parts.items():
            net.add(name, part, *ends)
        for node, pressure in self.held.items():
            net.hold(node, pressure)
        for node, flow in self.supplies.items():
            net.supply(node, flow)
        return net


class Builder(Maker):
    """Builds one network from a seed."""

    def __init__(self, seed: int) -> None:
        super().__init__(FIRST + seed, most_paths=25)
        self.case = Built(seed, self.case.air)
        self.kinds += [ds.Flap] if self.dice.one_in(2) else []
        self.case.free_ends = self.dice.often(0.7)
        self.count = max(2, int(self.dice.decades(2.0, MOST)))

    # ---- parts

    def _drawn(self, kind: Any) -> Any:
        if kind is not ds.Flap:
            return super()._drawn(kind)
        dice = self.dice
        return ds.Flap(
            area=dice.size(),
            opening_pressure=dice.decades(0.1, 1e5),
            loss_coefficient=dice.decades(1e-3, 1e2),
            gap=dice.decades(1e-3, 1.0),
        )

    def fan(self) -> Any:
        """A fan, some with an eye, an outlet, a belt or a standing loss of its own."""
        plain, dice = super().fan(), self.dice
        more = {
            name: dice.of(ds.Fan.declared[name])
            for name in ("belt_slip", "standing_loss", "inlet_area", "inlet_loss", "outlet_loss")
            if dice.one_in(4)
        }
        own = {n: v for n in ds.Fan.declared if (v := getattr(plain, n, None)) is not None}
        try:
            return ds.Fan(**{n: list(v) if isinstance(v, tuple) else v for n, v in (own | more).items()})
        except InputError:  # what was drawn does not go together
            return plain

    def put(self, kind: Any, *ends: str) -> None:
        self.case.parts[f"p{len(self.case.parts)}"] = (self.part(kind), ends)

    def pipe(self, one: str, two: str) -> None:
        self.put(self.dice.pick(self.kinds), one, two)

    # ---- layouts

    def chain(self) -> None:
        nodes = ["outside", *(f"c{i}" for i in range(self.count)), "outside"]
        for one, two in pairwise(nodes):
            if self.dice.one_in(self.count):
                self.put(ds.Fan, one, two)
            else:
                self.pipe(*((one, two) if self.dice.one_in(2) else (two, one)))
            if self.dice.one_in(4) and one != "outside":
                self.pipe("outside", one)

    def ladder(self) -> None:
        for i in range(self.count):
            self.pipe(f"u{i}", f"l{i}")
            if i:
                self.pipe(f"u{i - 1}", f"u{i}")
                self.pipe(f"l{i}", f"l{i - 1}")
            if self.dice.one_in(3):
                self.pipe("outside", f"u{i}")
        self.put(ds.Fan, "l0", "outside")
        self.pipe("outside", f"u{self.count - 1}")
        if self.dice.one_in(2):
            self.put(ds.Fan, "outside", "u0")

    def star(self) -> None:
        for i in range(self.count):
            if self.dice.one_in(4):
                self.put(ds.Fan, "outside", f"s{i}")
            else:
                self.pipe("outside", f"s{i}")
            self.pipe(f"s{i}", "hub")
        self.put(ds.Fan, "hub", "outside")

    def ring(self) -> None:
        count = max(self.count, 3)
        for i in range(count):
            one, two = f"r{i}", f"r{(i + 1) % count}"
            if self.dice.one_in(3):
                self.put(ds.Fan, one, two)
            else:
                self.pipe(one, two)
        self.pipe("outside", "r0")
        self.put(ds.Fan, "r1", "outside")

    def jets(self, behind: bool = False) -> None:
        """Units beside each other, or each behind the one before."""
        for i in range(self.count):
            self.pipe("outside", f"door {i}")
            self.put(ds.Jet, "blow", f"head {i - 1}" if behind and i else f"door {i}", f"head {i}")
            if not behind or i == self.count - 1 or self.dice.one_in(4):
                self.pipe(f"head {i}", "box")
            if self.dice.one_in(3):
                self.put(ds.Leak, "outside", f"head {i}")
        self.put(ds.Fan, "outside", "blow")
        if self.dice.one_in(2):
            self.put(ds.Fan, "box", "outside")
        else:
            self.pipe("box", "outside")

    def jets_behind(self) -> None:
        self.jets(behind=True)

    def fans_behind(self) -> None:
        nodes = ["outside", *(f"f{i}" for i in range(self.count)), "outside"]
        for one, two in pairwise(nodes):
            if self.dice.one_in(1.5):
                self.put(ds.Fan, one, two)
            else:
                self.pipe(one, two)
            if self.dice.one_in(5) and two != "outside":
                self.pipe("outside", two)

    def fans_beside(self) -> None:
        for i in range(self.count):
            apart = self.dice.one_in(2)
            if apart:
                self.pipe("box", f"in {i}")
            self.put(ds.Fan, f"in {i}" if apart else "box", "outside")
        for _ in range(self.dice.pick([1, 2, 5])):
            self.pipe("outside", "box")

    def tree(self) -> None:
        ends = ["root"]
        self.put(ds.Fan, "root", "outside")
        for i in range(self.count):
            at, one, two = ends.pop(0), f"t{2 * i}", f"t{2 * i + 1}"
            if self.dice.one_in(2):
                self.put(self.dice.pick([ds.Merge, ds.Split]), one, two, at)
            else:
                self.pipe(one, at)
                self.pipe(two, at)
            ends += [one, two]
        for end in ends:
            if not self.dice.one_in(6):
                self.pipe("outside", end)

    def build(self) -> Built:
        """The network: one layout, some boxes, now and then a pressure held or a supply."""
        dice, case = self.dice, self.case
        dice.pick(LAYOUTS)(self)
        names = sorted({end for _, ends in case.parts.values() for end in ends} - {"outside"})
        for node in names:
            if dice.one_in(6 * len(names)):
                case.held[node] = dice.pick([-1.0, 1.0]) * dice.decades(1e-2, 2e4)
            elif dice.one_in(4 * len(names)):
                case.supplies[node] = dice.pick([-1.0, 1.0]) * dice.decades(1e-8, 10.0)
        if "box" in names and dice.one_in(2):
            case.boxes = ("box",)
        elif dice.one_in(3):
            case.boxes = (dice.pick(names),)
        if case.free_ends:  # as a network does by itself, so that the check knows the same laws
            free = ("outside", *case.boxes)
            case.parts = {name: (part.placed(ends, free), ends) for name, (part, ends) in case.parts.items()}
        return case


LAYOUTS = (
    Builder.chain,
    Builder.ladder,
    Builder.star,
    Builder.ring,
    Builder.jets,
    Builder.jets_behind,
    Builder.fans_behind,
    Builder.fans_beside,
    Builder.tree,
)


def built(seed: int) -> Built:
    """The hostile layout of a seed."""
    return Builder(seed).build()
