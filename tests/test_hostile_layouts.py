"""Unlikely parts in the layouts of machines: solved and right by other means, or ended by a named reason."""

import pytest
from amounts import few_and_all
from hostile_layouts import LAYOUTS, Builder, built
from hostile_networks import examine


def outcomes(count):
    found = {}
    for seed in range(count):
        found.setdefault(examine(built(seed)), []).append(seed)
    return found


@few_and_all("count", 24, 2000)
def test_none_is_wrong_or_without_a_reason(count):
    found = outcomes(count)
    print({what: len(seeds) for what, seeds in found.items()})
    assert not {what: seeds for what, seeds in found.items() if what.startswith("wrong")}
    assert len(found["solved"]) > 0.7 * count


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda own: own.__name__)
def test_each_layout_is_a_network_with_a_way_out(layout):
    builder = Builder(3)
    layout(builder)
    ends = [end for _, ends in builder.case.parts.values() for end in ends]
    assert "outside" in ends and len(builder.case.parts) >= 2
    assert builder.case.network().system().paths >= 2


def test_the_same_seed_gives_the_same_network():
    assert built(5).network().numbers() == built(5).network().numbers()
