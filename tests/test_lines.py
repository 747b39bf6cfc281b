"""Where the keys of a TOML text stand, held against what the parser and a writer of TOML make of it."""

import tomllib

import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from ductsim.documents.lines import line_of, lines_of

TEXT = '''title = "a # b" # [no table]
a.b = 1
a."c d".e = [1,
  2, # two
  "]"]
long = """
[part]
name = "not a key" """
raw = \'\'\'
x = 1\'\'\'

[ drive . belt ]
slip = 1

[[part]]
name = "p"
bends = [{ angle = "9", radius = 2 }, { angle = 3 }]
[[part.inner]]
k = 1
[[part.inner]]
k = 2
[part.table]
q = 1
[[part]]
name = "q"
[[part.inner]]
k = 3
'''


def test_every_way_to_write_a_key():
    lines = lines_of(TEXT)
    at = {
        ("a", "b"): 2,
        ("a", "c d", "e", 1): 4,
        ("a", "c d", "e", 2): 5,
        ("long",): 6,
        ("raw",): 9,
        ("drive", "belt", "slip"): 13,
        ("part", 0, "bends", 1, "angle"): 17,
        ("part", 0, "inner", 1, "k"): 21,
        ("part", 0, "table", "q"): 23,
        ("part", 1, "name"): 25,
        ("part", 1, "inner", 0, "k"): 27,
    }
    assert {path: lines[path] for path in at} == at
    assert set(lines) == set(paths(tomllib.loads(TEXT)))
    assert line_of(lines, ("part", 1, "missing")) == 24 and line_of(lines, ("none",)) == 0


def paths(value, before=()):
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield (*before, key)
        yield from paths(inner, (*before, key))


WORDS = st.text("ab.\"'[]{}#=,\\\n\u00e4 ", max_size=6)
VALUES = st.recursive(
    st.integers(0, 9) | st.booleans() | st.floats(0, 1) | WORDS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(WORDS, inner, max_size=3),
    max_leaves=12,
)


@given(st.dictionaries(WORDS, VALUES, max_size=4), st.booleans())
def test_every_path_has_the_line_that_its_key_stands_on(document, multiline):
    text = tomli_w.dumps(document, multiline_strings=multiline)
    lines = lines_of(text)
    assert set(lines) == set(paths(tomllib.loads(text)))
    for path, line in lines.items():
        names = [key for key in path if isinstance(key, str)]
        word = tomli_w.dumps({names[-1]: 0}).split(" = 0")[0]
        if isinstance(path[-1], str):
            assert word in text.split("\n")[line - 1]


@given(
    st.lists(st.dictionaries(st.sampled_from("abc"), st.integers(0, 5), min_size=1), min_size=1, max_size=9)
)
def test_the_lines_of_tables_in_a_list_are_their_own(tables):
    numbered = [{key: 1000 * i + value for key, value in table.items()} for i, table in enumerate(tables)]
    text = tomli_w.dumps({"part": numbered, "each": {"part": numbered}})
    lines, rows = lines_of(text), text.split("\n")
    for i, table in enumerate(numbered):
        for key, value in table.items():
            for path in (("part", i, key), ("each", "part", i, key)):
                assert rows[lines[path] - 1].strip(" {},").find(f"{key} = {value}") >= 0
