"""Whatever is in a file, reading it gives a machine or an InputError of one sentence."""

import tomllib
import warnings

import tomli_w
from amounts import examples
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

import ductsim as ds
from ductsim.documents.document import parse
from ductsim.machine.demos import demo_file, names

TEXTS = {name: demo_file(name).read_text(encoding="utf-8") for name in names()}
SNIPPETS = [
    *(
        "\0",
        '"',
        "'''",
        "[[part]]",
        "[",
        "]",
        "{",
        "}",
        "{unit}",
        "=",
        ".",
        ",",
        "#",
        "\n",
        "nan",
        "inf",
        "-1",
    ),
    *(
        "1e400",
        "9" * 50,
        "true",
        "2020-01-01",
        '"1,2 m"',
        '"3 kPa"',
        '"x0.8"',
        "[[unit]]",
        "name",
        '"outside"',
    ),
    *('"air"', '"*"', "\N{DEGREE SIGN}", "\ufeff", "\U0001f33e", "0x10", "[]", "{}", '""', "format = 1\n"),
]
VALUES = st.one_of(
    st.sampled_from(
        [None, True, -1, 0, 10**400, float("nan"), float("inf"), "", "1", "x", "outside", "{unit}", [], {}]
    ),
    st.floats(),
    st.integers(),
    st.text(max_size=12),
    st.sampled_from(
        ["2 m", "3 kPa", "1,2 m", "90 deg", "hose", "fan", "door 1", "air box", "100 rpm", "-4 cm2"]
    ),
    st.lists(st.one_of(st.floats(), st.text(max_size=4), st.just({})), max_size=3),
)
ALWAYS = examples(150, suppress_health_check=[HealthCheck.too_slow])


def attempt(text: str) -> None:
    """Read; an answer, or a sentence for each thing that is wrong, is right; anything else is raised."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            machine = ds.Machine.of(text if "\n" in text else parse(text))  # the text has lines to tell
        except ds.InputError as err:
            assert all("\n" not in str(one) and str(one).endswith((".", "?")) for one in err.each)
            return
    assert set(machine.numbers) == set(machine.layout.declared)


@ALWAYS
@given(
    st.sampled_from(sorted(TEXTS)),
    st.lists(
        st.tuples(st.floats(0, 1), st.integers(0, 40), st.sampled_from(SNIPPETS)), min_size=1, max_size=4
    ),
)
def test_text_cut_and_pasted(name, edits):
    text = TEXTS[name]
    for share, cut, snippet in edits:
        place = int(share * len(text))
        text = text[:place] + snippet + text[place + cut :]
    attempt(text)


@ALWAYS
@given(st.sampled_from(sorted(TEXTS)), st.data())
def test_lines_lost_doubled_and_swapped(name, data):
    lines = TEXTS[name].splitlines()
    for _ in range(data.draw(st.integers(1, 4))):
        i = data.draw(st.integers(0, len(lines) - 1))
        how = data.draw(st.sampled_from(["lose", "double", "swap"]))
        if how == "lose":
            del lines[i]
        elif how == "double":
            lines.insert(i, lines[i])
        else:
            j = data.draw(st.integers(0, len(lines) - 1))
            lines[i], lines[j] = lines[j], lines[i]
    attempt("\n".join(lines))


def places(value, path=()):
    """Every place in nested tables and lists."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield (*path, key)
        yield from places(inner, (*path, key))


@ALWAYS
@given(st.sampled_from(sorted(TEXTS)), st.data())
def test_values_of_the_wrong_kind_anywhere(name, data):
    document = tomllib.loads(TEXTS[name])
    for _ in range(data.draw(st.integers(1, 3))):
        spots = list(places(document))
        *way, last = data.draw(st.sampled_from(spots))
        holder = document
        for key in way:
            holder = holder[key]
        value = data.draw(VALUES)
        if value is None:
            del holder[last]
        elif isinstance(last, str) and data.draw(st.booleans()):
            holder[data.draw(st.sampled_from(["name", "kind", "from", "area", "zz"]))] = value
        else:
            holder[last] = value
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            ds.Machine.of(document)
        except ds.InputError as err:
            assert str(err).endswith((".", "?"))


@examples(100)
@given(st.binary(max_size=200))
def test_any_bytes(tmp_path_factory, content):
    file = tmp_path_factory.mktemp("fuzz") / "machine.toml"
    file.write_bytes(content)
    try:
        ds.Machine.read(file)
    except ds.InputError as err:
        assert err.file == str(file)


@examples(100)
@given(st.dictionaries(st.text(max_size=5), st.one_of(st.integers(), st.text(max_size=5)), max_size=4))
def test_any_table_of_a_unit(more):
    document = tomllib.loads(TEXTS["picker"])
    document["unit"][0].update(more)
    try:
        ds.Machine.of(tomllib.loads(tomli_w.dumps(document)))
    except (ds.InputError, tomllib.TOMLDecodeError) as err:
        assert str(err)
