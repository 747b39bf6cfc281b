"""Rows as text, HTML, JSON and DataFrames: nothing lost, everything aligned, measures right."""

import json
import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

import ductsim as ds
from ductsim.display.figures import figure
from ductsim.display.tables import WIDTH, columns, frame, html, html_table, json_rows, plain, text
from ductsim.quantity import convert

ROWS = [
    {"unit": "1", "vacuum_Pa": 407.2, "opening_air_kg_s": 0.951, "share_of_mean": 1.083},
    {"unit": "far left", "vacuum_Pa": 305.04, "opening_air_kg_s": math.nan, "share_of_mean": 0.811},
]


def lines(rows, **options):
    return text(rows, **options).splitlines()


# ---- text


def test_words_stand_over_measures_and_numbers_right():
    head, measures, rule, *body = lines(ROWS)
    assert head.split() == ["vacuum", "opening", "air", "share", "of", "mean"]
    assert measures.split() == ["unit", "Pa", "kg/s", "%"]
    assert set(rule) == {"-", " "}
    assert [row.split() for row in body] == [["1", "407", "0.951", "108"], ["far", "left", "305", "-", "81"]]
    right_edges = {row.index(word) + len(word) for row, word in zip(body, ("407", "305"))}
    assert len(right_edges) == 1


def test_inch_is_metric_converted():
    for metric, inch in zip(columns(ROWS), columns(ROWS, "inch")):
        for one, other in zip(metric.values, inch.values):
            if isinstance(one, float):
                assert other == pytest.approx(convert(one, metric.measure, inch.measure), rel=1e-12)
    assert [c.measure for c in columns(ROWS, "inch")] == ["", "inH2O", "lb/min", "%"]
    assert lines(ROWS, measures="inch")[3].split()[1] == "1.63"


def test_keys_in_a_measure_that_is_not_si():
    (column,) = columns([{"speed_rpm": 3600.0}])
    assert (column.words, column.measure, column.values) == ("speed", "rpm", [3600.0])


def test_an_unknown_system_is_refused_even_without_rows():
    with pytest.raises(ds.UnknownName, match="did you mean 'metric'"):
        columns([], "metrik")


def test_rows_of_unlike_quantities_carry_their_own_measure():
    rows = [
        {"address": "air.temperature", "value": 304.15, "measure": "K", "sd": 1.0},
        {"address": "hose 1.roughness", "value": 0.0012, "measure": "m", "sd": 0.0005},
        {"address": "leak.coefficient", "value": 0.0004, "measure": "m3/s Pa^-n", "sd": None},
        {"address": "fan.flow[*]", "value": [0.0, 1.0, 1.5], "measure": "m3/s", "sd": 0.1},
    ]
    shown = {c.key: c.values for c in columns(rows)}
    assert shown["value"] == ["31", "1.2", "0.0004", "0, 1, 1.5"]
    assert shown["measure"] == ["degC", "mm", "m3/s Pa^-n", "m3/s"]
    assert shown["sd"] == ["1", "0.5", None, "0.1"]  # a difference of temperatures has no zero to shift
    inch = {c.key: c.values for c in columns(rows, "inch")}
    assert inch["value"][0] == "87.8"
    assert inch["sd"][0] == "1.8"
    assert inch["measure"][1] == "in"


def test_counts_in_rows_of_unlike_quantities_stay_counts():
    rows = [{"where": "door 4", "expected": -94.5, "measure": "Pa", "readings_before": 3}]
    shown = {c.key: c.values for c in columns(rows, "inch")}
    assert shown == {
        "where": ["door 4"],
        "expected": ["-0.3794"],
        "measure": ["inH2O"],
        "readings_before": [3],
    }


def test_small_numbers_beside_large_ones_keep_their_decimals():
    rows = [{"value": 0.0055, "low": 1.2e-9, "high": 0.027, "measure": "m2"}]
    shown = {c.key: c.values for c in columns(rows)}
    assert shown == {"value": ["55"], "low": ["0"], "high": ["270"], "measure": ["cm2"]}


def test_keys_that_only_some_rows_have():
    shown = columns([{"a": 1}, {"b": "x", "a": 2}])
    assert [(c.key, c.values) for c in shown] == [("a", [1, 2]), ("b", [None, "x"])]


def test_columns_without_anything_are_left_out_and_no_rows_said():
    assert "note" not in text([{"fan": "left", "note": ""}, {"fan": "right", "note": ""}])
    assert text([]) == "(none)"


def test_a_wide_table_goes_on_below_with_its_first_column():
    rows = [
        {"unit": name, **{f"quantity_number_{i}": 1e6 + i for i in range(30)}} for name in ("left", "right")
    ]
    page = text(rows)
    assert max(map(len, page.splitlines())) <= WIDTH
    for name in ("left", "right"):
        assert page.count(name) == len(page.split("\n\n")) > 1
    for i in range(30):
        assert f"{1_000_000 + i:,}" in page


def test_every_block_of_a_wide_table_fits():
    row = {"fix": "driven pulley 205 mm", **{f"speed_change_number_{i}": 123456.0 for i in range(9)}}
    row |= {"then_what": "air-to-crop ratio", "remark": "not allowed: above its highest speed " * 4}
    assert max(map(len, lines([row, {**row, "fix": "seal"}]))) <= WIDTH


def test_long_texts_are_wrapped_whole():
    words = " ".join(f"word{i}" for i in range(40))
    page = text([{"law": "fan", "equation": words, "valid": "always"}])
    assert max(map(len, page.splitlines())) <= WIDTH
    assert " ".join(page.split()).count("word39") == 1
    assert [w for w in page.split() if w.startswith("word")] == words.split()


def test_very_long_texts_become_small_pages():
    words = " ".join(f"word{i}" for i in range(200))
    page = text([{"law": "fan", "equation": words}, {"law": "jet", "equation": "short"}])
    first, second = page.split("\n\n")
    assert first.startswith("fan\n  equation  word0 word1")
    assert second == "jet\n  equation  short"


def test_terminal_controls_in_names_are_taken_out():
    page = text([{"unit": "a\x1b[31mb\r\nc"}])
    assert "\x1b" not in page
    assert "\r" not in page


def test_wide_characters_keep_columns_aligned():
    page = lines([{"unit": "左の房", "vacuum_Pa": 1.0}, {"unit": "b", "vacuum_Pa": 1.0}])
    assert page[-2].endswith(" 1")
    assert len(page[-1]) - len(page[-2]) == 3  # three characters of two places each


@pytest.mark.parametrize(
    ("values", "shown"),
    [
        ([0.0, -0.0], ["0", "0"]),
        ([-0.0001, 312.0], ["-0.0001", "312"]),
        ([1, 20000], ["1", "20,000"]),
        ([5297.1, 5421.9], ["5,297", "5,422"]),
        ([math.inf, 1.25], ["-", "1.25"]),
        ([25.0, 1.0], ["25", "1"]),
        ([1e-9, 2e-9], ["1.00e-09", "2.00e-09"]),
        ([True, False], ["yes", "no"]),
    ],
)
def test_numbers_of_a_column(values, shown):
    body = lines([{"x": v} for v in values])[2:]
    assert [line.strip() for line in body] == shown


def test_no_minus_before_a_zero():
    assert "-0" not in text([{"gain_Pa": -0.0004}, {"gain_Pa": 0.3}, {"gain_Pa": 0.2}]).split()


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0.0, "0"), (2100.0, "2,100"), (0.6, "0.6"), (1e12, "1.000e+12"), (1e-12, "1.000e-12"), (math.nan, "-")],
)
def test_single_figures(value, shown):
    assert figure(value) == shown


NAMES = st.text(min_size=0, max_size=220)
CELLS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**12), 10**12),
    st.floats(),
    NAMES,
    st.lists(st.floats(), max_size=4),
)
KEYS = st.sampled_from(
    ["unit", "vacuum_Pa", "share_of_mean", "value", "measure", "note", "a_very_long_word" * 3]
)


@given(
    st.lists(st.dictionaries(KEYS, CELLS, min_size=1), min_size=1, max_size=5),
    st.sampled_from(["metric", "inch"]),
)
@example([{"unit": None, "share_of_mean": 1e73}], "metric")
@example([{"unit": None, "share_of_mean": 1.1e73}], "metric")
@example([{"share_of_mean": 16842791, "value": "1" + "\U00018cd6" * 8 + "0"}], "metric")
def test_any_rows_can_be_shown(rows, measures):
    page = text(rows, measures)
    assert all(len(line) <= WIDTH for line in page.splitlines() if line.isascii())
    assert page.isprintable() or "\n" in page
    back = json.loads(json.dumps(json_rows(rows), allow_nan=False))
    assert [list(row) for row in back] == [list(row) for row in rows]
    assert html_table(rows, measures).count("<tr>") in (0, len(rows) + 1)


@given(st.lists(st.floats(-1e9, 1e9), min_size=1, max_size=8))
def test_figures_of_a_column_are_right_to_three_digits(values):
    shown = [line.strip().replace(",", "") for line in lines([{"x": v} for v in values])[2:]]
    largest = max(map(abs, values))
    for value, figures in zip(values, shown):
        assert float(figures) == pytest.approx(value, abs=max(0.006 * abs(value), 0.006 * largest * 1e-1))


# ---- HTML


def test_html_is_escaped():
    page = html(["<b>first</b>"], [{"unit": "<script>alert(1)</script>", "vacuum_Pa": 1.0}])
    assert "<script>" not in page
    assert "<b>" not in page
    assert "&lt;script&gt;" in page


def test_a_long_table_says_how_many_rows_it_leaves_to_the_frame():
    page = html([], [{"x": i} for i in range(100)])
    assert page.count("<td") == 40
    assert "60 more rows" in page
    assert "more rows" not in html([], [{"x": i} for i in range(40)])


def test_no_rows_no_table():
    assert html_table([]) == ""


# ---- JSON and frames


def test_json_has_null_for_what_is_not_known():
    (row,) = json_rows(
        [{"a": math.nan, "b": np.float64(2.5), "c": np.array([1.0, math.inf]), "d": np.int64(3)}]
    )
    assert row == {"a": None, "b": 2.5, "c": [1.0, None], "d": 3}
    assert [type(v) for v in (row["b"], row["d"])] == [float, int]


def test_plain_values():
    assert plain({"a": (1, {2})}) == {"a": [1, [2]]}
    assert plain(np.bool_(True)) is True
    assert plain(1 + 2j) == "(1+2j)"


def test_a_frame_has_every_row_and_key():
    made = frame(ROWS)
    assert list(made.columns) == list(ROWS[0])
    assert len(made) == 2
    assert made["vacuum_Pa"].tolist() == [407.2, 305.04]


def test_every_way_of_showing_a_state_has_the_same_rows():
    state = ds.demo("picker").solve()
    rows = state.rows()
    assert json_rows(rows) == rows
    assert state.table()["vacuum_Pa"].tolist() == [row["vacuum_Pa"] for row in rows]
    body = lines(rows)[3:]
    assert [line.split()[0] for line in body] == [row["unit"] for row in rows]
    assert [float(line.split()[1]) for line in body] == pytest.approx([r["vacuum_Pa"] for r in rows], abs=0.5)
    assert state._repr_html_().count("<tr>") == 1 + len(rows)
