"""How the box behind the ducts fills, and a pass over the field."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from refused_files import refusal

import ductsim as ds
from ductsim.errors import InputError
from ductsim.studies.fill.study import BINS, filled

CROP = ds.Crop(crop_yield=0.4, row_spacing=1.0, ground_speed=1.5)
SIX = {"width": 6.0, "length": 2.0, "height": 2.0, "spreading": 0.3}


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


def six(positions, flows=None, **more):
    """Six discharges, evenly fed if not said otherwise."""
    flows = np.full(6, 0.6) if flows is None else np.asarray(flows, dtype=float)
    return filled(ds.Box(positions=positions, **{**SIX, **more}), CROP, list("123456"), flows, 2.0)


def test_a_discharge_may_be_at_the_wall_but_in_no_scenario_beyond_it():
    sizes = {"length": 2.0, "height": 2.0, "positions": [2.0]}
    assert ds.Box(width=2.0, **sizes).positions == (2.0,)
    with pytest.raises(InputError, match="discharge 1 at 2 m is outside the box"):
        ds.Box(width=np.array([3.0, 1.9]), **sizes)


# ---- the profile


def test_three_of_six_ducts_into_one_third_of_the_width():
    """Half of the crop lands in that third (common practice, no published source)."""
    found = six([0.4, 1.0, 1.6, 2.6, 4.0, 5.4])
    left, middle, right = found.thirds()
    assert left == pytest.approx(0.5, abs=1e-12)
    assert left + middle + right == pytest.approx(1.0, abs=1e-12)


@given(
    st.lists(st.floats(0.0, 6.0), min_size=6, max_size=6),
    st.lists(st.floats(0.0, 3.0), min_size=6, max_size=6).filter(lambda f: sum(f) > 0.01),
    st.floats(0.05, 9.0),
)
def test_no_crop_is_lost_whatever_the_walls(positions, flows, spreading):
    box = ds.Box(positions=positions, **{**SIX, "spreading": spreading})
    landing = box.landing(positions, BINS)
    assert np.all(landing >= -1e-15) and landing.sum(axis=1) == pytest.approx(np.ones(6), abs=1e-12)
    landed = np.asarray(flows) @ landing
    assert landed.sum() == pytest.approx(sum(flows), rel=1e-12)


def test_a_profile_by_hand():
    """One duct in the middle: a triangle of height flow / spreading; at a wall it is folded back."""
    found = six([3.0] * 6, [1.0, 0, 0, 0, 0, 0], spreading=0.5)
    assert found.profile.max() == pytest.approx(2.0, rel=0.03)
    assert found.fullest == pytest.approx(3.0, abs=0.02)
    wall = six([0.0] * 6, [1.0, 0, 0, 0, 0, 0], spreading=0.5)
    assert wall.profile.max() == pytest.approx(4.0, rel=0.03) and wall.fullest < 0.03
    # full when bulk density x length x height x strip has landed in the fullest strip
    assert found.time_to_full() == pytest.approx(80.0 * 2.0 * 2.0 / found.profile.max())
    assert found.usable() == pytest.approx((1.0 / 6.0) / found.profile.max())
    assert found.mass_at_full == pytest.approx(found.usable() * 80.0 * 24.0)


def test_crop_spread_evenly_fills_the_whole_box():
    even = six(np.arange(6) + 0.5, spreading=1.0)
    middle = even.profile[60:240]
    assert middle == pytest.approx(np.full(180, 0.6), rel=1e-6)  # neighbouring triangles add up to a line
    assert even.evenness() == pytest.approx(1.0, abs=1e-9) and even.usable() == pytest.approx(1.0, abs=1e-9)
    assert even.profile == pytest.approx(np.full(BINS, 0.6), rel=1e-9)  # the walls throw back what is missing


# ---- moving discharges


def test_moving_discharges_apart_raises_evenness():
    near, far = six([2.4, 2.7, 3.0, 3.2, 3.4, 3.6]), six([0.5, 1.5, 2.5, 3.5, 4.5, 5.5])
    assert far.evenness() > near.evenness() and far.usable() > near.usable()


def test_the_best_set_within_the_limits():
    now = [2.0, 2.4, 2.8, 3.2, 3.6, 4.0]
    found = six(now, lowest=[0.0] * 6, highest=[6.0] * 6, spreading=1.0)
    after = found.best_profile
    assert found.usable(after) > 0.97 and found.evenness(after) > 0.97  # evenly spaced is within reach
    assert np.all((found.best >= 0.0) & (found.best <= 6.0))
    fixed = six(now)
    assert np.array_equal(fixed.best, now) and fixed.moves == [] and len(fixed.rows()) == 1
    # no single move within the limits beats the best set
    assert all(row["usable_share"] <= found.usable(after) + 1e-9 for row in found.tables()["moves"])
    rows = found.rows()
    assert [row["positions"] for row in rows] == ["present", "best"]


def test_one_move_is_as_good_as_trying_them_all():
    found = six(
        [1.0, 1.2, 2.5, 3.5, 4.5, 5.5], lowest=[0.2, 1.2, 2.5, 3.5, 4.5, 5.5], highest=[1.2] + [6.0] * 5
    )
    row = next(r for r in found.tables()["moves"] if r["unit"] == "1")
    best = 0.0
    for place in np.linspace(0.2, 1.2, 61):
        profile = six([place, 1.2, 2.5, 3.5, 4.5, 5.5]).profile
        best = max(best, found.usable(profile) + 0.1 * found.evenness(profile))
    assert row["usable_share"] + 0.1 * row["evenness_share"] == pytest.approx(best, abs=1e-9)


# ---- an unload


def test_the_unload_speed_by_a_time_stepped_sum():
    """In steps of a tenth of a second from the level at its begin the fullest place just gets full."""
    found = six([0.5, 1.4, 2.5, 3.6, 4.4, 5.5], unload_time=120.0, level=0.35)
    speed = found.unload_speed()
    per_step = found.profile * (speed / CROP.ground_speed) * 0.1 / (80.0 * 2.0)  # height in 0.1 s
    level = 0.35 * 2.0 * found.profile / found.profile.max()
    for _ in range(1200):
        level = level + per_step
    assert level.max() == pytest.approx(2.0, rel=1e-9)
    assert six([3.0] * 6).unload_speed() is None
    assert "During an unload of 120 s it may drive" in str(found)


# ---- the study


def test_fill_of_the_demonstration(picker):
    found = ds.fill(picker)
    assert found.flows == pytest.approx(np.full(5, 0.4 * 5.0 / 3.6))
    assert 0.4 < found.usable() < found.usable(found.best_profile) < 1.0
    assert sum(found.thirds()) == pytest.approx(1.0)
    assert "The box's first place" in found.sentences()[0]
    tables = found.tables()
    assert list(tables) == ["fill", "discharges", "moves", "profile"]
    assert max(row["level_share"] for row in tables["profile"]) <= 1.0
    json.dumps(tables)
    assert "ft" in " ".join(found.sentences("inch")) and found.cautions
    assert repr(found).startswith("<Fill: 65% used when its first place is full")
    fast = ds.fill(picker.change({"crop.ground_speed": "7 km/h"}))
    assert fast.time_to_full() == pytest.approx(found.time_to_full() * 5.0 / 7.0)
    assert fast.unload_speed() == pytest.approx(found.unload_speed())
    assert any("stays behind" in note for note in fast.notes) and fast.margin < 1.0 < found.margin


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"positions": [0.5, 7.0]}, "discharge 2 at 7 m is outside the box, which is 6 m wide"),
        ({"positions": [0.5, -1.0]}, "positions[1]"),
        ({"positions": [0.5, 1.0], "lowest": [0.1]}, "1 limits for 2 discharges"),
        ({"positions": [0.5, 1.0], "lowest": [0.6, 0.2]}, "discharge 1 at 0.5 m is beyond its limits"),
        ({"positions": [0.5, 1.0], "highest": [0.6, 9.0]}, "9 m is outside the box"),
        ({"positions": [0.5], "level": 1.2}, "level"),
        ({"positions": [0.5], "unload_time": "0 s"}, "unload_time"),
        ({"positions": [0.5], "widht": 1.0}, "did you mean 'width'?"),
    ],
)
def test_bad_boxes_get_one_sentence(keys, words):
    with pytest.raises(InputError) as err:
        ds.Box.of({**SIX, **keys})
    assert words in str(err.value) and "\n" not in str(err.value)


def test_what_a_fill_needs(picker):
    with pytest.raises(InputError, match="the machine has no box"):
        ds.fill(ds.demo("bench"), ds.Crop(crop_yield=0.1, row_spacing=1.0))
    with pytest.raises(InputError, match="is not a box"):
        ds.fill(picker, box=5)
    with pytest.raises(InputError, match="2 discharges for 5 units"):
        ds.fill(picker, box=ds.Box(positions=[1.0, 2.0], **SIX))
    with pytest.raises(InputError, match="no crop flows at a ground speed of 0"):
        ds.fill(picker.change({"crop.ground_speed": 0.0}))
    with pytest.raises(InputError, match="the machine has no crop"):
        ds.fill(ds.demo("bench"))


def test_a_file_s_box_is_checked_when_it_is_read(tmp_path):
    from ductsim.machine.demos import demo_file

    text = demo_file("picker").read_text(encoding="utf-8")
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(text.replace('"3.4 m"]', '"5.4 m"]'), encoding="utf-8")
    with pytest.raises(InputError, match=r"discharge 5 at 5\.4 m is outside the box"):
        ds.Machine.read(wrong)
    for last in ("3.4", "3.1", "3.9"):
        text = text.replace(f', "{last} m"]', "]")
    wrong.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="4 discharges for 5 units"):
        ds.Machine.read(wrong)


# ---- a pass over the field


def test_a_pass_at_a_constant_speed(picker):
    crop_yield = np.full(200, 0.3)
    crop_yield[80:100] = 0.6
    found = ds.field_pass(picker, crop_yield, speed="5 km/h")
    limit = picker.ask("ground speed") * 0.4  # yield x speed that limits
    assert np.array_equal(found.margin < 1.0, crop_yield * 5.0 / 3.6 > limit)
    assert found.blocked_at == 80.0
    assert found.tables()["blocked"] == [
        {
            "from_m": 80.0,
            "to_m": 100.0,
            "least_margin": pytest.approx(float(found.margin[85])),
            "unit": "4",
            "place": "front 4 (air-to-crop ratio)",
        }
    ]
    assert found.time[-1] == pytest.approx(200.0 / (5.0 / 3.6))
    # five rows of 1 m: mass = sum of yield x area
    assert found.crop[-1] == pytest.approx(5.0 * float(crop_yield.sum()), rel=1e-12)
    assert "It would block in 1 place, first at 80 m; worst is unit 4" in found.sentences()[0]
    assert found.tables()["stretches"][99]["unit"] == "4"


def test_margins_along_the_row_are_those_of_the_solver(picker):
    rng = np.random.default_rng(1)
    crop_yield, speed = rng.uniform(0.1, 0.7, 300), rng.uniform(0.8, 2.0, 300)
    found = ds.field_pass(picker, crop_yield, speed=speed)
    machine = picker.with_crop().change({"crop.crop_yield": crop_yield, "crop.ground_speed": speed})
    assert found.margin == pytest.approx(machine.solve().ask("carrying margin"), rel=2e-4)


def test_a_pass_that_holds_a_margin(picker):
    crop_yield = 0.4 * (1.0 + 0.6 * np.sin(np.arange(300) / 15.0))
    found = ds.field_pass(picker, crop_yield, margin=1.2, spacing="2 m")
    top = 8.0 / 3.6
    assert np.all(found.speed <= top + 1e-12)
    held = found.speed < top - 1e-9
    assert held.any() and not held.all()
    assert found.margin[held] == pytest.approx(np.full(held.sum(), 1.2), rel=1e-4)
    assert np.all(found.margin[~held] > 1.2) and found.blocked_at is None
    assert found.sentences()[0].startswith("Nothing blocks: the smallest margin is 1.20")
    assert found.distance[-1] == 600.0


def test_the_box_fills_along_the_row(picker):
    found = ds.field_pass(picker, np.full(1200, 0.4), speed=1.5)
    still = ds.fill(picker.change({"crop.ground_speed": 1.5}))
    assert found.full_at == pytest.approx(1.5 * still.time_to_full(), rel=1e-9)
    assert found.level[-1] == pytest.approx(1200.0 / found.full_at, rel=1e-9)
    assert f"full at {found.full_at:,.0f} m" in str(found)
    short = ds.field_pass(picker, [0.4, 0.4], speed=1.5)
    assert (
        short.full_at is None
        and "full at its fullest place" in str(short)
        and "mph" in short.sentences("inch")[1]
    )
    assert len(short.rows()) == 2 and json.dumps(short.tables()) and short.cautions
    bare = ds.field_pass(ds.demo("bench"), [0.2], speed=0.2, crop=ds.Crop(crop_yield=0.1, row_spacing=1.0))
    assert bare.level is None and "level_share" not in bare.rows()[0]


def test_a_pass_from_a_file(picker, tmp_path):
    place = tmp_path / "row.csv"
    place.write_text("distance,crop_yield\n100 m,3000 kg/ha\n150,0.45\n\n", encoding="utf-8")
    found = ds.field_pass(picker, place)
    assert found.distance.tolist() == [0.0, 100.0, 150.0]
    assert found.crop_yield == pytest.approx([0.3, 0.45])
    assert found.speed == pytest.approx(np.full(2, 5.0 / 3.6))  # today's
    for text, words in (
        ("distance,yield\n1,0.4\n", "header: unknown column 'yield'; did you mean 'crop_yield'"),
        ("distance\n1\n", "header: the column 'crop_yield' is missing"),
        ("distance,crop_yield,measure\n1,0.4,kg/ha\n", "header: unknown column 'measure'"),
        ("distance,crop_yield\n", "holds no yields along a row; a header, and a line for each stretch"),
        ("distance,crop_yield\n5,0.4\n4,0.4\n", "its distances do not rise"),
        ("distance,crop_yield\n5,0\n", "the yield of stretch 1 is 0 kg/m2"),
        ("distance,crop_yield\n5,nan\n", "line 2, crop_yield: nan is no finite number"),
        ("distance,crop_yield\n5\n", "line 2: has no crop_yield; one for each stretch"),
        ('distance,crop_yield\n5,"0,4 kg/m2"\n', "line 2, crop_yield"),
    ):
        assert words in refusal(place, text, lambda: ds.field_pass(picker, place))
    place.write_text("distance;crop_yield\n100 m;0,3\n150;0,45 kg/m2\n", encoding="utf-8")
    assert ds.field_pass(picker, place).crop_yield == pytest.approx([0.3, 0.45])
    with pytest.raises(InputError, match="no such file of yields"):
        ds.field_pass(picker, tmp_path / "none.csv")


@pytest.mark.parametrize(
    ("field", "options", "words"),
    [
        ([0.4], {"speed": 1.0, "margin": 1.1}, "got speed and margin"),
        ([0.4, 0.0], {}, "the yield of stretch 2 is 0 kg/m2"),
        ([[0.4]], {}, "is not a list of yields"),
        ([], {}, "field_pass"),
        ([0.4], {"speed": "5 kg"}, "field_pass, speed"),
        ([0.4], {"speed": [1.0, 2.0]}, "2 speeds for 1 stretches"),
        ([0.4], {"speed": 0.0}, "a speed is out of range"),
        ([0.4], {"margin": 0.0}, "0.0 is out of range; 0.1 to 10"),
        ([0.4], {"margin": 5.0}, "a margin of 5 is not reached even without crop"),
        ([0.4], {"spacing": 0.0}, "field_pass, spacing"),
    ],
)
def test_bad_passes_get_one_sentence(picker, field, options, words):
    with pytest.raises(InputError) as err:
        ds.field_pass(picker, field, **options)
    assert words in str(err.value) and "\n" not in str(err.value)
