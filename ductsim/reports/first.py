"""The first sheet of a report: what was found, what to do about it, what that brings, what to beware of."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..cautions import ALWAYS, cautions_for
from ..speed import Calibration
from ..speed.summary import machine_said, speed_text
from ..statistics import quantile
from ..studies.fit import Fit
from ..wording import listed, percent, within
from .findings import Findings
from .jobs import Job, answer_after, jobs_of

UNLIKELY = 0.01
"""Chance of so bad a fit below which the readings are said not to agree."""


@dataclass
class First:
    """The first sheet.

    Attributes
    ----------
    finding : list of str
        Which unit, which leak, how sure; the first is the answer.
    jobs : list of Job
        What to do, in order.
    total : list of str
        What all jobs take and bring.
    remarks : list of str
        What stands in place of jobs or beside them.
    speed : list of str
        How fast, now and then.
    row : list of str
        What happens along a row of known yields.
    cautions : list of str
        Everything to beware of.
    """

    finding: list[str]
    jobs: list[Job] = field(default_factory=list)
    total: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    speed: list[str] = field(default_factory=list)
    row: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)

    @property
    def has_cost(self) -> bool:
        """Whether any job costs something."""
        return any(job.cost for job in self.jobs)

    @property
    def has_units(self) -> bool:
        """Whether a weakest unit can be named."""
        return any(job.weakest for job in self.jobs)


def first_sheet(found: Findings) -> First:
    """Everything on it."""
    jobs = jobs_of(found)
    return First(
        finding=[*about_unit(found), *about_readings(found)],
        jobs=jobs,
        total=_total(found) if jobs else [],
        remarks=_remarks(found, bool(jobs)),
        speed=about_speed(found),
        row=found.said(found.along_a_row)[:1],
        cautions=all_cautions(found),
    )


# ---- the finding


def about_unit(found: Findings) -> list[str]:
    """The weakest unit, its vacuum, and how sure both are."""
    state = found.state
    name = state.weakest
    if not name or not all(np.isfinite(value) for value in state.vacuum.values()):
        return found.said(state)[:1]
    possible = found.possible
    low, mid, high = (quantile(possible.ask("weakest vacuum"), share) for share in (0.05, 0.5, 0.95))
    # with readings the middle of what they leave possible, as the comparison has it; else as described
    own = float(state.vacuum[name]) if found.fit is None else mid
    value, ends = within(own, (low, high), "Pa", found.measures)
    of = "that the readings leave possible" if found.fit is not None else "so described"
    if len(state.vacuum) == 1:
        return [f"Unit {name} has {value} of vacuum: {ends} in nine of ten machines {of}."]
    share = percent(state.by_unit[name]["share_of_mean"])
    chance = next((row["chance_weakest"] for row in possible.rows() if row["unit"] == name), 0.0)
    at = found.machine.layout.unit[name].vacuum_at
    return [
        f"Unit {name} is weakest: {value} of vacuum at {at}, {share} of the mean of all units.",
        f"Of all machines {of}, nine of ten have {ends} at their weakest unit, and unit {name} is it in "
        f"{percent(chance)}.",
    ]


def about_readings(found: Findings) -> list[str]:
    """What the readings point at and what that costs; without readings, that there are none."""
    fit = found.fit
    if fit is None:
        return [
            "No readings go with it: this is the machine as described. Which leak it has, readings tell "
            "(ductsim gauges prints the sheet for them)."
        ]
    row = fit.unknowns[0]
    out = found.said(fit)[:1]
    if fit.chance >= UNLIKELY and row["told"] != "only by the prior" and row["low"] > row["likely"]:
        value, ends = within(row["estimate"], (row["low"], row["high"]), row["measure"], found.measures)
        times = row["estimate"] / row["likely"]
        owner, _, number = row["unknown"].partition(".")
        out = [
            f"The readings point at {owner}: its {number.replace('_', ' ')} is about {value} "
            f"({ends} at 95 %), {times:.0f} times what was likely.{_its_cost(found, fit, row['unknown'])}"
        ]
    if fit.chance < UNLIKELY:
        out.append("The readings do not fit together: read what is said about them before any work.")
    return out


def _its_cost(found: Findings, fit: Fit, address: str) -> str:
    """What a leak takes from the weakest unit."""
    row = next((row for row in fit.priced if row["leak"] == address), None)
    if row is None or row["low"] <= 0.0:
        return ""
    value, ends = within(row["cost"], (row["low"], row["high"]), "Pa", found.measures)
    return f" It costs the weakest unit {value} ({ends} at 95 %)."


# ---- the jobs


def _total(found: Findings) -> list[str]:
    """Time, cost and the answer before and after."""
    comparison = found.comparison
    assert comparison is not None
    solved, row = comparison.sure, comparison.sure.row(comparison.recommended)
    minutes = f"{solved.minutes[row]:,.4g} min"
    cost = f", cost {solved.cost[row]:,.10g}" if solved.cost[row] else ""
    before, after = answer_after(found, solved.row(0)), answer_after(found, row)
    base = solved.base
    gains = solved.gains_of(row)
    if comparison.machines > 1:
        ends = [quantile(gains, share) for share in (0.05, 0.95)]
        text = within(quantile(gains, 0.5), ends, comparison.question.measure, found.measures, sign=True)
        chance = percent(comparison.chances.get(comparison.recommended, 0.0))
        sure = f" ({text[1]} in nine of ten; no other set is better on {chance} of the possible machines)"
    else:
        sure = ""
    share = f", {percent(quantile(gains, 0.5) / abs(base), sign=True)}" if base else ""
    label = comparison.question.label
    return [f"All together: {minutes}{cost}. The {label} goes from {before} to {after}{share}{sure}."]


def _remarks(found: Findings, has_jobs: bool) -> list[str]:
    """What is said where there are no jobs, and what was left out of them."""
    comparison = found.comparison
    if comparison is None:
        return [
            "No fixes go with it. Write what could be done into a file of fixes (name, change, minutes, "
            "cost): the jobs that are worth doing then stand here."
        ]
    out = [] if has_jobs else found.said(comparison)[:1]
    refused = [name for name in _refused(found) if name not in comparison.order]
    if refused:
        out.append(f"Not allowed: {listed(refused)}.")
    if comparison.errors:
        out.append(f"Not computed: {listed(list(comparison.errors))}.")
    if has_jobs and comparison.left_out:
        out.append(f"Not worth the work beside these: {listed(comparison.left_out)}.")
    return out


def _refused(found: Findings) -> list[str]:
    """The fixes that pass a limit of the makers by themselves."""
    comparison = found.comparison
    assert comparison is not None
    sure = comparison.sure
    rows = [sure.row(1 << i) for i in range(comparison.n)]
    if not sure.allowed[sure.row(0)]:
        return []
    return [task.fix.name for task, row in zip(comparison.tasks, rows, strict=True) if not sure.allowed[row]]


# ---- speed


def about_speed(found: Findings) -> list[str]:
    """The limiting speed before and after the jobs, and what it rests on."""
    result = found.ground_speed
    if result is None:
        return []
    if not result.limited:
        return found.said(result)[:1]
    now = _speed_within(result.speeds, result.speed, found.measures)
    how = (
        f"calibrated on {machine_said(result.fitted)}"
        if result.calibrated
        else "not calibrated: tell what was seen"
    )
    out = [f"Now {now[0]} before unit {result.unit} blocks ({now[1]} in nine of ten, {how})."]
    gain = found.faster
    if gain is not None and gain.problem:
        out.append(f"With all jobs: {gain.problem}.")
    elif gain is not None and np.isfinite(gain.change) and np.isfinite(gain.speed):
        runs = np.where(result.speeds > 0.0, result.speeds, np.nan)  # the others do not run before either
        then = _speed_within(gain.ratio * runs, result.capped(gain.speed), found.measures)
        low, high = (percent(share, sign=True) for share in gain.band)
        change = percent(gain.change, sign=True)
        limits = f"; unit {gain.unit} limits then" if gain.unit else ""
        out.append(f"With all jobs {then[0]}, {change} ({low} to {high} in nine of ten){limits}.")
    return out


def _speed_within(speeds: np.ndarray, value: float, measures: str) -> tuple[str, str]:
    """A speed and its band, rounded to what the band supports."""
    low, high = (quantile(speeds, share) for share in (0.05, 0.95))
    if not (np.isfinite(low) and np.isfinite(high)):
        return speed_text(value, measures), f"{speed_text(low, measures)} to {speed_text(high, measures)}"
    return within(value, (low, high), "km/h", measures)


# ---- cautions


def all_cautions(found: Findings) -> list[str]:
    """Every caution that belongs to what the page advises, each once, the constant one last."""
    tags = ["crop"] if found.has_crop else []
    tags += ["measure", "blank"] if found.readings is not None else []
    results = [result for result in found.studies if not isinstance(result, Calibration)]
    texts = [text for result in results for text in result.cautions]
    texts += [*cautions_for(tags), *cautions_for(["lock_out", "guards", "noise", "lint"])]
    return [*dict.fromkeys(text for text in texts if text != ALWAYS), ALWAYS]
