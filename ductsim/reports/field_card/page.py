"""The page: the tables as plain data in one HTML file, and the script that answers from them."""

from __future__ import annotations

import base64
import datetime
import hashlib
import json
import math
import os
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...errors import visible
from ...measures import measure_of, spellings
from ...quantity import display_measure, from_si, suited
from ...readings.unknowns import leak_sizes, usual_speed
from ...version import VERSION
from ..report import environment as templates
from .result import FieldCard, Sheet, SolvedFixes, Weighing
from .summary import approximation, cautions, ground_speeds

Array = NDArray[np.float64]
SCRIPT = ("field_card_fixes", "field_card_readings", "field_card_exchange", "field_card")
"""The pieces of the page's script, one function's body together; the last one starts the page."""
TABLES = ("at", "sound", "relative", "zero", "by_suspect", "by_speed")
DIGITS = 3
"""So many digits of a number are shown at least, as sentences have them."""


def page(card: FieldCard, measures: str) -> str:
    """The whole page as HTML."""
    data = _data(card, measures)
    text = json.dumps(data, allow_nan=False, separators=(",", ":"))
    for sign in "<>&":  # nothing in a name can end the script that the data stand in
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    environment = templates()
    source = environment.loader
    assert source is not None
    style = source.get_source(environment, "field_card.css")[0]
    pieces = (source.get_source(environment, f"{name}.js")[0] for name in SCRIPT)
    script = '"use strict";\n(function () {\n' + "".join(pieces) + "})();\n"
    rendered: str = environment.get_template("field_card.html").render(
        title=data["title"],
        version=VERSION,
        date=datetime.date.today().isoformat(),
        file=visible(os.path.basename(card.machine.file or "")),
        sha256=card.machine.sha256 or "",
        style=style,
        script=script,
        data=text,
        notes=[visible(str(note)) for note in card.notes if note.kind != "approximation"],
        has_fixes=card.fixes is not None,
        has_readings=bool(card.sheets),
        taped=any(sheet.blanked for sheet in card.sheets),
    )
    return rendered


def _data(card: FieldCard, measures: str) -> dict[str, Any]:
    texts = [visible(text) for text in cautions(card)]  # the constant one last
    out: dict[str, Any] = {
        "title": visible(card.machine.layout.title or "A machine without a title"),
        "units": [visible(unit.name) for unit in card.machine.layout.units],
        "fixes": None if card.fixes is None else _fixes(card, card.fixes, measures, texts),
        "readings": _readings(card, measures) if card.sheets else None,
        "cautions": texts,
        "beware": {"readings": [_place(texts, text) for text in card.beware["readings"]]},
    }
    plain = json.dumps([out, VERSION], sort_keys=True, default=str)
    out["key"] = f"field page {hashlib.sha256(plain.encode()).hexdigest()[:24]}"
    return out


def _place(texts: list[str], text: str) -> int:
    """The place of a text in a list that holds each once."""
    text = visible(text)
    if text not in texts:
        texts.append(text)
    return texts.index(text)


# ---- fixes


def _fixes(card: FieldCard, solved: SolvedFixes, measures: str, texts: list[str]) -> dict[str, Any]:
    bits = {fix.name: {"bit": i} for i, fix in enumerate(solved.fixes)}
    bits |= {fix.name: {"stop": v} for fix, v in solved.turning}
    every = [*solved.fixes, *(fix for fix, _ in solved.turning)]
    places = {fix.name: i for i, fix in enumerate(every)}
    asked = card.question
    tables = {
        "vacuum": (solved.vacuum, "Pa"),
        "opening_air": (solved.opening_air, "kg/s"),
        "duct_air": (solved.duct_air, "kg/s"),
        "ground_speed": (solved.ground_speed, "km/h"),
    }
    return {
        "list": [
            {
                "name": visible(fix.name),
                "minutes": fix.minutes,
                "cost": fix.cost,
                "cautions": [_place(texts, text) for text in solved.cautions[fix.name]],
                **bits[fix.name],
            }
            for fix in every
        ],
        "errors": [visible(text) for text in solved.errors.values()],
        "conflicts": [
            [places[one], places[other], visible(f"{words}.")] for one, other, words in solved.conflicts
        ],
        "stops": [solved.speed_label(v) for v in range(len(solved.factors))],
        "today": solved.today,
        "exact": solved.exact,
        "approximation": "" if solved.exact else approximation(card, solved, measures),
        "ground_note": ground_speeds(solved),
        "masks": solved.masks,
        "label": asked.label,
        "weakest_asked": asked.of.startswith("weakest"),
        "more_is_better": asked.more_is_better,
        "answer": {**_scale(asked.measure, measures), "data": _packed(solved.answer, "<f8")},
        "tables": {
            name: _shown(values, measure, measures, solved)
            for name, (values, measure) in tables.items()
            if values.size and np.isfinite(values).any()
        },
        "power": _shown(solved.power, "W", measures, solved)
        if np.nanmax(solved.power, initial=0.0)
        else None,
        "highest_speed": _once(solved.highest_speed, "km/h", measures),
        "weakest": _packed(solved.weakest + 1, "<u2"),
        "verdict": _packed(solved.verdict, "<u2"),
        "verdicts": [[kind, visible(words)] for kind, words in solved.verdicts],
    }


def _scale(measure: str, measures: str) -> dict[str, Any]:
    """How a number in SI becomes one that is shown: times `over`, divided by `times`, less `shift`."""
    label = display_measure(measure, measures)
    to = measure_of(label)
    return {"label": label, "over": to.over, "times": to.times, "shift": to.shift}


def _once(value: float, measure: str, measures: str) -> str:
    if not math.isfinite(value):
        return ""
    label = display_measure(measure, measures)
    return f"{from_si(value, label):.3g} {label}"


def _shown(values: Array, measure: str, measures: str, solved: SolvedFixes) -> dict[str, Any]:
    """A table as whole numbers of the last digit that is shown: what is on the page is rounded here, once."""
    label = display_measure(measure, measures)
    own = np.asarray(from_si(values, label))
    now = own[solved.today, 0]
    middle = float(np.nanmedian(np.abs(now))) if np.isfinite(now).any() else float(np.nanmedian(np.abs(own)))
    decimals = DIGITS - 1 - math.floor(math.log10(middle)) if middle else 0
    decimals = min(max(decimals, 0), 6)
    whole = np.rint(own * 10.0**decimals)
    low = float(np.nanmin(whole))
    narrow = float(np.nanmax(whole)) - low < 65_000
    missing = 65_535 if narrow else 2**32 - 1
    codes = np.where(np.isfinite(whole), whole - low, missing)
    return {
        "label": label,
        "decimals": decimals,
        "low": low,
        "missing": missing,
        "data": _packed(codes, "<u2" if narrow else "<u4"),
    }


def _packed(values: Any, kind: str) -> dict[str, str]:
    """An array as text: its kind and its bytes."""
    return {"kind": kind, "bytes": base64.b64encode(np.asarray(values).astype(kind).tobytes()).decode()}


# ---- readings


def _readings(card: FieldCard, measures: str) -> dict[str, Any]:
    speed = usual_speed(card.machine)
    names = [tapping.name for tapping in card.machine.layout.tappings]
    access = {tapping.name: tapping.access for tapping in card.machine.layout.tappings}
    label = display_measure("Pa", measures)
    weighing = None if card.weighing is None else _weighing(card, card.weighing, measures)
    exponent = np.full((len(card.sheets), len(names)), 2.0)  # of pressures without weighing: by the fans' law
    if card.weighing is not None:
        exponent = card.weighing.exponent.reshape(exponent.shape)
    return {
        "label": label,
        "pascal": float(1.0 / from_si(1.0, label)),
        "decimals": 0 if measures == "metric" else 2,
        "speed": None if speed is None else speed * 30.0 / math.pi,
        "turning": "engine" if card.machine.layout.drives else "fan",
        "first": visible(card.first),
        "tappings": [
            {"name": name, "show": visible(name), "unsafe": access[name] == "unsafe"} for name in names
        ],
        "sheets": [_sheet(card, sheet, names, exponent[i]) for i, sheet in enumerate(card.sheets)],
        "units": {visible(unit.vacuum_at): visible(unit.name) for unit in card.machine.layout.units},
        "weighing": weighing,
        "entered": card.entered,
        "measures": {
            "Pa": {s: measure_of(s).times / measure_of(s).over for s in spellings("Pa")},
            "rad/s": {s: measure_of(s).times / measure_of(s).over for s in ("rad/s", "rpm")},
        },
        "openings": sorted({name for unit in card.machine.layout.units for name in unit.openings}),
    }


def _sheet(card: FieldCard, sheet: Sheet, names: list[str], exponent: Array) -> dict[str, Any]:
    return {
        "name": sheet.name,
        "title": sheet.title,
        "blanked": list(sheet.blanked),
        "shown": [[round(float(value), 3) for value in sheet.shown[name]] for name in names],
        "exponent": [round(float(value), 5) for value in exponent],
    }


def _weighing(card: FieldCard, own: Weighing, measures: str) -> dict[str, Any]:
    return {
        "suspects": [_suspect(card, own, i, measures) for i in range(len(own.suspects))],
        "grid": own.grid.tolist(),
        "faulty": list(own.faulty),
        "rate": own.rate,
        **{name: _packed(getattr(own, name), "<f4") for name in TABLES},
        "swing": own.swing,
        "share": own.share,
        "tachometer": own.tachometer,
        "unread_speed": own.unread_speed,
    }


def _suspect(card: FieldCard, own: Weighing, i: int, measures: str) -> dict[str, Any]:
    """A suspect in words, with its sizes as they are shown."""
    address = own.suspects[i]
    owner, _, number_key = address.rpartition(".")
    measure = card.machine.layout.declared[address].measure
    name = (
        owner if address in leak_sizes(card.machine.layout) else f"{owner} ({number_key.replace('_', ' ')})"
    )
    label = display_measure(suited(measure, float(own.likely[i])), measures)
    sizes = np.asarray(from_si(own.sizes[i], label))
    return {
        "name": visible(name),
        "label": label,
        "likely": float(from_si(own.likely[i], label)),
        "sizes": [float(value) for value in sizes],
        "share": measure == "" and address not in leak_sizes(card.machine.layout),
    }
