"""What a function says of a file that it refuses."""

import pytest

from ductsim.errors import InputError


def refusal(place, text, read):
    """The one sentence with which `read()` refuses the file once `text` stands in it; it names the file."""
    place.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as err:
        read()
    assert str(place) in str(err.value)
    assert "\n" not in str(err.value)
    return str(err.value)
