"""An ensemble in tables and sentences."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from ...display.rows import Of, rows_of
from ...quantity import show
from ...questions.vocabulary import Question
from ...result import Note
from ...statistics import quantile
from ...wording import counted, said
from .result import Array, Ensemble

Row = dict[str, Any]
QUANTILES = (0.025, 0.25, 0.5, 0.75, 0.975)
MOST_FAILED = 100  # rows
OFF, SURE = 0.005, 3.0
"""A mean is told of from this share of the answer on, beyond so many of its own standard errors."""
NEARLY_ALWAYS = 0.95
"""A unit that is the weakest so often is the only one that counts."""


def about(found: Ensemble) -> str:
    """What was asked, and how many machines were drawn."""
    return f"{', '.join(found.of)}, {len(found):,} machines"


# ---- tables


def tables(found: Ensemble) -> dict[str, list[Row]]:
    """Quantiles; the chance that each unit is weakest; variance shares; failed scenarios."""
    out: dict[str, list[Row]] = {"answers": _answers(found)}
    if found.chance_weakest:
        out["weakest"] = rows_of(
            found.chance_weakest.items(),
            Of("unit", value=lambda own: own[0]),
            Of("chance_weakest", value=lambda own: own[1]),
        )
    if found.shares:
        out["shares"] = _share_rows(found)
    if found.failed:
        out["failed"] = rows_of(
            list(found.failed.items())[:MOST_FAILED],
            Of("scenario", value=lambda own: own[0]),
            Of("outcome", value=lambda own: own[1]),
        )
    return out


def _answers(found: Ensemble) -> list[Row]:
    """A row for each question: mean, standard deviation and quantiles, in SI, of what has an answer."""
    known = [(asked, own[~np.isnan(own)]) for asked, own in zip(found.questions, found.answers, strict=True)]
    return rows_of(
        known,
        Of("of", value=lambda own: own[0].of),
        Of("measure", value=lambda own: own[0].measure),
        Of("mean", value=lambda own: float(own[1].mean()) if own[1].size else math.nan),
        Of("sd", value=lambda own: float(own[1].std(ddof=1)) if len(own[1]) > 1 else 0.0),
        *(_quantile(share) for share in QUANTILES),
    )


def _quantile(share: float) -> Of:
    doc = f"{100 * share:g} of 100 machines stay below it"
    return Of(f"p{100 * share:g}", doc=doc, value=lambda own: quantile(own[1], share))


def _share_rows(found: Ensemble) -> list[Row]:
    return rows_of(
        _shares(found),
        Of("of", value=lambda own: own[0]),
        Of("number", value=lambda own: found.inputs[own[2]]),
        Of("first_order", doc="what it explains alone", value=lambda own: float(own[1].first[own[2]])),
        Of("first_order_error", value=lambda own: float(own[1].first_error[own[2]])),
        Of("total", doc="what all others would leave", value=lambda own: float(own[1].total[own[2]])),
        Of("total_error", value=lambda own: float(own[1].total_error[own[2]])),
    )


def _shares(found: Ensemble) -> Iterator[tuple[str, Any, int]]:
    """(question, its shares, place of an input), the largest total share first."""
    for of, own in (found.shares or {}).items():
        yield from ((of, own, int(i)) for i in np.argsort(-own.total))


# ---- sentences and notes


def sentences(found: Ensemble, measures: str) -> list[str]:
    """The answer first: what holds in 95 of 100 such machines, and which unit is weakest how often."""
    out = [_range(*own, measures) for own in zip(found.questions, found.answers, strict=True)]
    out += _off(found, measures)
    ranked = sorted(found.chance_weakest.items(), key=lambda item: -item[1])
    if ranked:
        words = ", ".join(f"unit {u} {100 * c:.0f} %" for u, c in ranked if c >= 0.005)
        out.append(f"Chance of being the weakest: {words}.")
    scattered = f"{counted(len(found.spreads), 'number')} scattered, the others as they stand"
    out.append(f"{len(found):,} machines drawn, {scattered} (seed {found.seed}).")
    return out + found.notes


def _range(asked: Question, values: Array, measures: str) -> str:
    if np.isnan(values).all():
        return f"{asked.of.capitalize()}: none of these machines has an answer."
    texts = [show(quantile(values, share), asked.measure, measures) for share in (0.025, 0.975, 0.5)]
    (low, unit), (high, _), (middle, _) = texts
    return (
        f"{asked.of.capitalize()}: {middle:.4g} {unit}, in 95 of 100 such machines between "
        f"{low:.4g} and {high:.4g} {unit}."
    )


def _off(found: Ensemble, measures: str) -> list[str]:
    """Why the mean of an answer is not that of the machine as it is described, where it is plainly not."""
    out = []
    for asked, values, own in zip(found.questions, found.answers, found.as_described, strict=True):
        known = values[~np.isnan(values)]
        if (
            len(known) < 2
            or not abs(known.mean() - own) > OFF * abs(own) + SURE * known.std() / len(known) ** 0.5
        ):
            continue
        mean, itself = (said(value, asked.measure, measures) for value in (float(known.mean()), float(own)))
        where = "below" if known.mean() < own else "above"
        out.append(
            f"Its mean, {mean}, lies {where} the {itself} of the machine as described: {_why(found, asked)}."
        )
    return out


def _why(found: Ensemble, asked: Question) -> str:
    """What moves a mean: the least of several units, or an answer that bends."""
    most = max(found.chance_weakest.values(), default=1.0)
    if asked.of.startswith("weakest") and most < NEARLY_ALWAYS:
        return (
            "of units that scatter the weakest is another from machine to machine, and the least of several "
            "lies lower than each of them"
        )
    return "the answer bends with the numbers that scatter, so what they add and take does not even out"


def notes(found: Ensemble) -> list[Note]:
    """Scenarios without an answer, and chunks that were computed anew."""
    failed = len(found.failed)
    none = [Note(f"{failed:,} scenarios have no answer.", "no answer", value=failed)] if failed else []
    return none + found.folder_notes
