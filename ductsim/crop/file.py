"""A crop from a file of its own."""

from __future__ import annotations

import os

from ..documents.building import build
from ..documents.document import check_format, read_document, refuse_unknown, table
from ..errors import InputError
from .described import Crop

TOP = ("format", "ductsim", "input_sha256", "title", "note", "crop")


def read_crop(path: str | os.PathLike[str]) -> Crop:
    """The crop in a TOML file of format 1 with one table, `[crop]`, or in a machine file's table.

    Raises
    ------
    InputError
        One sentence with the file, the place, what was wrong and what is allowed.
    """
    document, _ = read_document(path, "crop file")
    try:
        check_format(document)
        if "part" not in document:  # a machine file has other tables, which are its own business
            refuse_unknown(document, TOP, "")
        if "crop" not in document:
            raise InputError("the table [crop] is missing", allowed="write [crop] and its numbers")
        crop: Crop = build(Crop, table(document["crop"], "crop"), "crop")
    except InputError as err:
        raise err.at(file=str(path)) from None
    return crop
