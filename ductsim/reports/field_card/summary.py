"""A field page in sentences and tables."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...quantity import measure_key
from ...result import Note
from ...speed.summary import machine_said
from ...wording import counted, said
from .result import FieldCard, SolvedFixes

Row = dict[str, Any]


def about(card: FieldCard) -> str:
    """What stands on it, in a few words."""
    fixes = 0 if card.fixes is None else len(card.fixes.fixes) + len(card.fixes.turning)
    return f"{fixes} fix{'' if fixes == 1 else 'es'}, {sum(len(s.shown) for s in card.sheets)} readings"


def tables(card: FieldCard) -> dict[str, list[Row]]:
    """The single fixes, what to read, and who may be at fault."""
    out: dict[str, list[Row]] = {}
    if card.fixes is not None:
        out["fixes"] = _alone(card, card.fixes)
    out["readings"] = [
        {
            "sheet": sheet.name,
            "tapping": name,
            "lowest_Pa": float(low),
            "expected_Pa": float(middle),
            "highest_Pa": float(high),
        }
        for sheet in card.sheets
        for name, (low, middle, high) in sheet.shown.items()
    ]
    if card.weighing is not None:
        declared = card.machine.layout.declared
        out["suspects"] = [
            {"suspect": address, "likely": float(value), "measure": declared[address].measure}
            for address, value in zip(card.weighing.suspects, card.weighing.likely, strict=True)
        ]
    return out


def _alone(card: FieldCard, solved: SolvedFixes) -> list[Row]:
    """Each fix by itself at today's speed, the answer before and after it."""
    key, today = measure_key("answer", card.question.measure), solved.today
    row = {mask: k for k, mask in enumerate(solved.masks)}
    places = [(fix, today, row[1 << i]) for i, fix in enumerate(solved.fixes)]
    places += [(fix, v, 0) for fix, v in solved.turning]
    return [
        {
            "fix": fix.name,
            "minutes": fix.minutes,
            "cost": fix.cost,
            key: float(solved.answer[v, k]),
            "verdict": solved.verdicts[solved.verdict[v, k]][0],
        }
        for fix, v, k in places
    ]


def sentences(card: FieldCard, measures: str) -> list[str]:
    """What the page holds, and how it stands now."""
    out = []
    if card.fixes is not None:
        sets, speeds = len(card.fixes.masks), len(card.fixes.factors)
        at = f" at each of {speeds} engine speeds" if card.fixes.turned else ""
        now = said(float(card.fixes.answer[card.fixes.today, 0]), card.question.measure, measures)
        out.append(f"{sets:,} sets of fixes are solved{at}; now the {card.question.label} is {now}.")
        out.append(f"They start from {machine_said(card.fitted)}.")
    if card.sheets:
        count = sum(len(sheet.shown) for sheet in card.sheets)
        word = f"{counted(count, 'reading')} on {counted(len(card.sheets), 'sheet')}"
        suspects = 0 if card.weighing is None else len(card.weighing.suspects)
        who = f", which {counted(suspects, 'suspect')} {'is' if suspects == 1 else 'are'} weighed by"
        who = "" if card.weighing is None else who
        out.append(f"There is room for {word}{who}.")
    return out


def notes(card: FieldCard) -> list[Note]:
    """What is exact on the page and what is not."""
    out = []
    solved = card.fixes
    if solved is not None:
        out += [
            Note(f"Not on the page: {text}", "not computed", name) for name, text in solved.errors.items()
        ]
        if not solved.exact:
            out.append(Note(approximation(card, solved, "metric"), "approximation"))
        if ground_speeds(solved):
            error = solved.ground_speed_error if solved.ground_speed_checks else None
            out.append(Note(ground_speeds(solved), "approximation", value=error))
        more = "" if card.fitted else ": readings typed here do not change what they bring"
        out.append(Note(f"Fixes start from {machine_said(card.fitted)}{more}.", "fixes start from"))
    if card.sheets and card.weighing is None:
        out.append(Note("Readings are not weighed: there is no suspect, or no speed.", "suspects"))
    return out + card.seen


def approximation(card: FieldCard, solved: SolvedFixes, measures: str) -> str:
    """How answers for more than two fixes are come by where not every set was solved."""
    text = "Single fixes and pairs are solved; three or more are put together from these, an approximation"
    if not solved.approximation_checks:
        return f"{text} that was not checked: compute them before you rely on it."
    worst = said(solved.approximation_error, card.question.measure, measures, 2)
    return f"{text}: off by {worst} at most in {solved.approximation_checks} sets that were solved."


def ground_speeds(solved: SolvedFixes) -> str:
    """How ground speeds are come by; empty without any."""
    if not np.isfinite(solved.ground_speed).any():
        return ""
    if not solved.ground_speed_checks:
        return "Ground speeds are solved; they hang on the crop's assumed least values."
    share = max(100.0 * solved.ground_speed_error, 0.01)
    return (
        f"Ground speeds follow from the air of each unit: off by {share:.2g}% at most in "
        f"{solved.ground_speed_checks} sets that were solved. They hang on the crop's assumed least values."
    )


def cautions(card: FieldCard) -> list[str]:
    """Everything to beware of on the page, each once, the constant one last."""
    own = [] if card.fixes is None else [text for texts in card.fixes.cautions.values() for text in texts]
    every = [*card.beware["fixes"], *own, *card.beware["readings"]]
    last = card.beware["readings"][-1]
    return [*dict.fromkeys(text for text in every if text != last), last]
