"""Every registered part passes `check_part`, in each of its forms; parts made wrong are found out."""

import warnings

import numpy as np
import pytest

import ductsim as ds
from ductsim.checking import CHECKS
from ductsim.checking.examples import examples_of
from ductsim.errors import InputError
from ductsim.laws.card import LAWS, law
from ductsim.network.system import Compiled
from ductsim.parts import KINDS, Part, Path, number, part
from ductsim.parts.bend import Bend
from ductsim.parts.declare import Word
from ductsim.parts.duct import Duct
from ductsim.parts.gate import Gate
from ductsim.parts.hose import Hose
from ductsim.parts.leak import Leak
from ductsim.parts.opening import Opening
from ductsim.parts.resistance import Resistance
from ductsim.parts.screen import Screen
from ductsim.parts.tee import Merge, Split
from ductsim.parts.transition import Transition

BENDS = [
    Bend(angle="90 deg", radius=0.3),
    Bend(angle="45 deg", radius=0.2, style="five-piece"),
    Bend(angle="30 deg", style="mitre"),
]

MORE = {
    "duct": [
        Duct(length=3.2, diameter=0.276, roughness=2e-4, loss_coefficient=0.25),
        Duct(length=2.0, diameter=0.05, roughness=0.0),
        Duct(length=1.5, diameter=0.2, bends=BENDS, rise=2.4),
        Duct(length=3.0, width=0.4, height=0.2, bends=BENDS, rise=-1.0),
        Duct(length=3.0, width=0.4, height=0.2, shape="flat oval", bends=BENDS),
    ],
    "hose": [
        Hose(length=1.8, diameter=0.165, roughness=1.2e-3, loss_coefficient=0.9),
        Hose(length=1.8, diameter=0.2, stretch=0.85, bends=[BENDS[0]], kink=0.3),
    ],
    "opening": [Opening(area=0.024, loss_coefficient=1.5)],
    "leak": [
        Leak(area=1e-3),
        Leak(length=0.8, width=2e-3, discharge_coefficient=0.7),
        Leak(length=1.0, width=1e-3, depth=0.05, bends=1),
        Leak(coefficient=0.003, exponent=0.6),
        Leak(coefficient=0.0008, exponent=0.5),
        Leak(coefficient=0.0008, exponent=1.0),
        Leak(leakage_class=0.027, surface=3.0),
    ],
    "resistance": [
        Resistance(coefficient=2.0, exponent=1.85),
        Resistance(coefficient=30.0, exponent=1.0),
        Resistance(coefficient=800.0, exponent=2.0),
    ],
    "merge": [
        Merge(straight_area=0.03, branch_area=0.03, angle="90 deg"),
        Merge(straight_area=0.03, branch_area=0.01, angle="30 deg"),
        Merge(straight_area=0.03, branch_area=0.02, combined_area=0.045, angle="45 deg"),
    ],
    "split": [
        Split(straight_area=0.03, branch_area=0.03, angle="90 deg"),
        Split(straight_area=0.03, branch_area=0.01, angle="30 deg"),
        Split(straight_area=0.03, branch_area=0.02, combined_area=0.045, angle="60 deg"),
    ],
    "screen": [
        Screen(area=0.3, open_fraction=0.6),
        Screen(area=0.3, open_fraction=0.6, blinded=0.5),
        Screen(area=0.3, open_fraction=0.6, style="wire mesh"),
        Screen(area=0.3, open_fraction=0.6, style="grille"),
    ],
    "gate": [Gate(area=0.05, opening=0.4), Gate(area=0.05, opening=1.0)],
    "transition": [
        Transition(first_area=0.06, second_area=0.02),
        Transition(first_area=0.02, second_area=0.06, angle="20 deg"),
        Transition(first_area=0.02, second_area=0.02, angle="20 deg"),
    ],
}


def kinds():
    """The kinds of the package; other test files register some of their own."""
    return [kind for kind, cls in KINDS.items() if cls.__module__.startswith("ductsim.")]


@pytest.mark.parametrize("kind", kinds())
def test_every_registered_part_passes_all_checks(kind):
    found = ds.check_part(KINDS[kind])
    assert found.passed, found.sentences()
    assert [f.check for f in found.findings] == [c.__name__ for c in CHECKS]


@pytest.mark.parametrize("kind", list(MORE))
def test_parts_as_they_are_built_pass_all_checks(kind):
    """Sizes and forms of machines, besides what the declarations give."""
    found = ds.check_part(KINDS[kind], MORE[kind])
    assert found.passed, found.sentences()


@pytest.mark.parametrize("kind", kinds())
def test_all_forms_are_covered(kind):
    """Each field that may be left out stands in some example, and every word is used."""
    made = examples_of(KINDS[kind])
    for name, decl in KINDS[kind].declared.items():
        assert any(getattr(e, name) not in (None, ()) for e in made), f"{kind}.{name} is never given"
        if isinstance(decl, Word) and kind != "fan":
            assert {getattr(e, name) for e in made} - {None} == set(decl.choices)


# ---- a user's own part


@law(equation="drop = c m", valid="anywhere", sources=("our_assumption",))
def linear(flow, air, *, stiffness):
    """A linear resistance. Example: stiffness 2 and flow 3 give 6 Pa; air is not used."""
    return stiffness * flow, stiffness + 0.0 * flow, 0.0 * flow


@law(equation="drop = k m |m| + s m", valid="anywhere", sources=("our_assumption",))
def square(flow, air, *, k, share):
    """A square resistance whose slope is `share` of what it should be, 1 being right.

    Example: k 2 and flow 3 give 18 Pa; air is not used.
    """
    size = np.abs(flow)
    return k * flow * size + 0.01 * flow, share * 2.0 * k * size + 0.01, 0.0 * flow


@law(equation="drop = c m / density", valid="anywhere", sources=("our_assumption",))
def thin(flow, air, *, k, share):
    """No slope in density. Example: k 2, flow 3, density of air 1.2 give 5 Pa; share is not used."""
    return k * flow / air.density, k / air.density + 0.0 * flow, 0.0 * flow


@law(equation="drop = c m, with a step", valid="anywhere", sources=("our_assumption",))
def stepped(flow, air, *, k, share):
    """A drop that jumps at half a kilogram. Example: k 2 and flow 1 give 3 Pa; air, share are not used."""
    return k * flow + (np.abs(flow) > 0.5) * np.sign(flow), k + 0.0 * flow, 0.0 * flow


@law(equation="drop = c", valid="anywhere", sources=("our_assumption",))
def backward(flow, air, *, k, share):
    """A drop against the flow. Example: k 2 and flow 1 give -2 Pa; air, share are not used."""
    return -k * flow, -k + 0.0 * flow, 0.0 * flow


def uncarded(flow, air, *, k, share):
    return k * flow, k + 0.0 * flow, 0.0 * flow


def scalar(flow, air, *, k, share):
    """Not vectorised. Example: k 2 and flow 3 give 6 Pa; air, share are not used."""
    return (k * flow, k, 0.0) if flow > 0.0 else (2.0 * k * flow, 2.0 * k, 0.0)


# the cards of these are not part of the package's list
for _name in ("linear", "square", "thin", "stepped", "backward"):
    del LAWS[_name]


@pytest.fixture(autouse=True)
def registry():
    before = dict(KINDS)
    yield
    KINDS.clear()
    KINDS.update(before)


def own_part(follows, share=1.0, **more):
    body = {
        "__doc__": "A filter mat of the tests.",
        "__module__": __name__,
        "__qualname__": "OwnFilter",
        "sources": ("our_assumption",),
        "__annotations__": {"k": float},
        "k": number("", above=0.0, doc="drop per flow"),
        "paths": lambda self: (Path(follows, {"k": self.k, "share": share}, 0.03),),
        **more,
    }
    return part("filter of the tests")(type("OwnFilter", (Part,), body))


def failed(kind):
    return {f.check: f.found for f in ds.check_part(kind).failed}


def test_a_users_own_part_conforms():
    own = own_part(square)
    found = ds.check_part(own)
    assert found.passed, found.sentences()
    assert "passes all 14 checks on 3 examples" in found.sentences()[0]
    assert len(found.table()) == 14
    assert ds.check_part(own(k=40.0)).passed


def test_a_wrong_slope_is_found():
    found = ds.check_part(own_part(square, share=0.5))
    assert not found.passed
    assert any("slope at" in s and "against differences" in s and "OwnFilter" in s for s in found.sentences())


@pytest.mark.parametrize(
    ("follows", "check", "words"),
    [
        (thin, "slopes", "slope in density"),
        (stepped, "meets_itself", "jumps"),
        (backward, "signed", "other sign"),
        (backward, "coercive", "drives the air"),
        (uncarded, "carded", "has no card"),
        (scalar, "containers", "ValueError"),
    ],
)
def test_what_a_law_does_wrong_is_told(follows, check, words):
    assert words in failed(own_part(follows))[check]


@pytest.mark.parametrize(
    ("paths", "words"),
    [
        (lambda self: [Path(square, {"k": 1.0, "share": 1.0}, 0.03)], "no tuple"),
        (lambda self: (Path(square, {"k": 1.0, "share": 1.0}, 0.03, ends=(0, 2)),), "the part has 2"),
        (lambda self: (Path(square, {"k": 1.0, "share": 1.0}, 0.03),) * 2, "2 paths, and 1 names"),
        (
            lambda self: (Path(square, {"k": 1.0, "share": 1.0}, 0.03, density="middle"),),
            "mean, inlet, entering",
        ),
        (lambda self: ("path",), "no Path or Pair"),
        (
            lambda self: (Path(square, {"k": 1.0, "share": 1.0}, 0.03, power=lambda *_, **__: 0.0),),
            "say is_fan = True",
        ),
    ],
)
def test_shapes_that_do_not_fit_are_told(paths, words):
    kind = own_part(square)
    kind.paths = paths
    assert words in failed(kind)["shapes"]


def test_a_fan_takes_shaft_power():
    kind = own_part(square)
    kind.is_fan = True
    assert "no path of it takes shaft power" in failed(kind)["shapes"]


def test_only_parts_are_checked():
    for odd in (None, 3.0, "hose", Bend, BENDS[0], Part, object()):
        with pytest.raises(InputError, match="check_part"):
            ds.check_part(odd)
    with pytest.raises(InputError, match="is no Hose"):
        ds.check_part(Hose, [Gate(area=0.05, opening=0.4)])
    with pytest.raises(InputError, match="no example of"):
        ds.check_part(Hose, [])


def test_a_kind_without_possible_examples_asks_for_some():
    def check(self):
        raise InputError("never right")

    with pytest.raises(InputError, match=r"no example.*examples\(\)"):
        ds.check_part(own_part(square, check=check))


# ---- registering


def test_a_taken_kind_is_refused():
    with pytest.raises(InputError, match=r"taken by ductsim.parts.hose.Hose"):

        @part("hose")
        class Hose(Part):
            """Another hose."""

    assert KINDS["hose"].__module__ == "ductsim.parts.hose"


def test_a_cell_that_runs_again_replaces_its_part():
    first, second = own_part(square), own_part(square)
    assert first is not second
    assert KINDS["filter of the tests"] is second


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"sources": ("no such source",)}, "unknown source"),
        ({"sources": "our_assumption"}, "sources ="),
        ({"ends": ("from",)}, "ends ="),
        ({"ends": ("a", "a")}, "ends ="),
        ({"ends": "ab"}, "ends ="),
        ({"path_names": ()}, "path_names ="),
        ({"path_names": ("", "b")}, "without a name"),
    ],
)
def test_a_class_that_does_not_fit_is_refused(more, words):
    with pytest.raises(InputError, match=words):
        own_part(square, **more)


@pytest.mark.parametrize("kind", [None, 3, "", " ", " a", "a\nb"])
def test_a_kind_is_a_word(kind):
    with pytest.raises(InputError, match="is no kind"):
        part(kind)


def test_only_classes_of_parts_are_registered():
    with pytest.raises(InputError, match="no class of parts"):
        part("thing of the tests")(int)


# ---- in a network


def network(kind, **numbers):
    net = ds.Network(ds.Air()).add("mat", kind(**numbers), "foot", "outside")
    return net.add("mouth", Opening(area=0.02, loss_coefficient=1.0), "foot", "box").hold("box", -900.0)


def test_a_solve_tells_of_a_wrong_slope_of_a_law_from_outside():
    """Half the slope of k m |m|: the same flows, and derivatives that are wrong."""
    with pytest.warns(ds.WrongSlope, match=r"mat: the law square states a slope in flow") as seen:
        wrong = network(own_part(square, share=0.5), k=500.0).solve()
    assert len(seen) == 1
    assert "the law square states" in wrong.notes[0]
    right = network(own_part(square), k=500.0).solve()
    assert right.notes == []
    assert wrong.flow["mat"] == pytest.approx(right.flow["mat"], rel=1e-8)
    assert wrong.slope["mat"] == pytest.approx(0.5 * right.slope["mat"], rel=1e-3)


def test_a_solve_tells_of_a_wrong_slope_in_density():
    with pytest.warns(ds.WrongSlope, match="slope in density of 0"):
        network(own_part(thin), k=500.0).solve()


def test_slopes_are_looked_at_once_for_each_layout():
    machine = ds.demo("bench").replace({"left mouth": own_part(square, share=0.5)(k=500.0)})
    before = Compiled.count
    with pytest.warns(ds.WrongSlope, match="left mouth"):
        state = machine.solve()
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        again = machine.change({"left mouth.k": np.array([400.0, 600.0])}).solve()
    assert Compiled.count == before + 1
    for one in (state, again, again[1]):
        assert any("left mouth: the law square" in note for note in one.notes)


def test_a_column_is_looked_at_where_it_is_solved():
    net = network(own_part(square, share=0.5), k=np.array([300.0, 500.0]))
    with pytest.warns(ds.WrongSlope, match="mat: the law square"):
        net.solve()


def test_a_right_law_of_ones_own_is_not_spoken_of():
    state = ds.demo("bench").replace({"left mouth": own_part(linear_part())(k=500.0)}).solve()
    assert state.system.slope_notes == []


def linear_part():
    def follows(flow, air, *, k, share):
        return linear(flow, air, stiffness=k)

    return follows


def test_laws_of_the_package_are_not_looked_at():
    assert ds.demo("bench").system.slope_notes == []


def test_a_field_out_of_range_says_where():
    with pytest.raises(InputError) as err:
        Duct(length=np.array([1.0, -1.0]), diameter=0.2)
    assert "duct: length" in str(err.value)
    assert "-1" in str(err.value)
