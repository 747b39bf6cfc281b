"""The lists that stand beside the physics: sources, cautions, and the cards of laws."""

import pytest

from ductsim.cautions import ALWAYS, CAUTIONS, TAGS, cautions_for
from ductsim.errors import InputError, UnknownName
from ductsim.laws.card import LAWS, LawCard, card_of, law
from ductsim.sources import SOURCES, Source, source

STANDINGS = {"seen", "from memory", "common practice", "our assumption"}


@pytest.mark.parametrize("key", SOURCES)
def test_a_source_says_what_it_is_and_how_it_stands(key):
    entry = SOURCES[key]
    assert source(key) is entry
    assert entry.key == key
    assert entry.standing in STANDINGS
    assert entry.title
    assert entry.standing in str(entry).lower()
    assert entry.title in str(entry)
    assert "|" not in str(entry)
    assert "http" not in str(entry), "the standard, book or paper is cited, never a page on sale"
    if entry.standing == "seen":
        assert entry.where, "what was seen needs its place"


def test_keys_are_plain_words():
    for key in SOURCES:
        assert key.isidentifier()
        assert key == key.lower()


def test_the_sources_that_laws_may_always_cite():
    assert {s.standing for s in SOURCES.values()} == STANDINGS
    assert str(source("common_practice")) == "Common practice, no published source (common practice)"
    assert "Metrologia" in str(source("cipm2007"))


def test_an_unknown_source_names_the_nearest():
    with pytest.raises(UnknownName, match="unknown source 'colebrok1939'; did you mean 'colebrook1939'"):
        source("colebrok1939")


# ---- cautions


def test_the_constant_caution_comes_last_whatever_is_asked():
    assert cautions_for([]) == [ALWAYS]
    for tag in [*TAGS, *CAUTIONS]:
        texts = cautions_for([tag])
        assert texts[-1] == ALWAYS
        assert len(texts) == len(set(texts)) > 1


def test_cautions_keep_the_order_of_the_list_and_stand_once():
    texts = cautions_for(["blank", "seal", "lock_out", "seal"])
    order = list(CAUTIONS.values())
    places = [order.index(text) for text in texts[:-1]]
    assert places == sorted(set(places))
    assert CAUTIONS["taping"] in texts
    assert cautions_for("seal") == cautions_for(["seal"])


def test_every_caution_belongs_to_some_kind_of_work_or_stands_alone_and_is_a_sentence():
    used = {key for keys in TAGS.values() for key in keys}
    assert used == set(CAUTIONS)
    for text in [*CAUTIONS.values(), ALWAYS]:
        assert text.endswith(".")
        assert text[0].isupper()


@pytest.mark.parametrize(
    ("tag", "text"),
    [
        ("seal", "fumes"),
        ("pulley", "highest speed its maker allows"),
        ("speed", "highest speed its maker allows"),
        ("clean", "Lint burns"),
        ("blank", "take every one off"),
        ("measure", "clear of moving parts"),
        ("crop", "stopped and locked out"),
    ],
)
def test_what_must_be_said_is_said(tag, text):
    assert any(text in caution for caution in cautions_for([tag]))


def test_an_unknown_tag_names_the_nearest():
    with pytest.raises(UnknownName, match="unknown caution 'seel'; did you mean 'seal'"):
        cautions_for(["seel"])


# ---- cards


@pytest.fixture
def own_law():
    def outside(flow, air, **coefficients):
        return [(abs(flow) > 1.0, "too much")]

    def drop_of_my_own(flow, air, k):
        return k * flow, k, 0.0

    before = dict(LAWS)
    given = law(equation="drop = k m", valid="everywhere", sources=("our_assumption",), outside=outside)(
        drop_of_my_own
    )
    yield drop_of_my_own, given, outside
    LAWS.clear()
    LAWS.update(before)


def test_a_law_stays_the_same_function_and_carries_its_card(own_law):
    plain, given, outside = own_law
    assert given is plain
    assert card_of(given) == LawCard(
        "drop_of_my_own", "drop = k m", "everywhere", ("our_assumption",), outside
    )
    assert LAWS["drop_of_my_own"] is given


def test_a_function_without_a_card():
    assert card_of(print) is None


@pytest.mark.parametrize("sources", ["cipm2007", ()])
def test_a_card_needs_a_tuple_of_sources(sources):
    with pytest.raises(InputError, match="a tuple with at least one key"):
        law(equation="", valid="", sources=sources)


def test_every_card_is_complete_and_cites_known_sources():
    import ductsim.laws
    import ductsim.parts

    assert ductsim.laws
    assert ductsim.parts
    assert LAWS
    for name, function in LAWS.items():
        card = card_of(function)
        assert isinstance(card, LawCard)
        assert card.name == name
        assert card.equation
        assert card.valid
        for key in card.sources:
            assert isinstance(source(key), Source)
