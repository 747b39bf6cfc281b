"""Random networks by the thousand: outcomes, steps, and how difficult the generated networks are."""

from __future__ import annotations

import warnings
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from typing import Any

import numpy as np
from measuring import timed
from random_checks import examine, summary
from random_networks import generate

from ductsim.errors import OutsideRange


def _one(seed: int, rising: bool) -> Any:
    warnings.simplefilter("ignore", OutsideRange)
    return examine(generate(seed, rising=rising), rising)


def _examined(count: int, rising: bool, into: list[Any]) -> None:
    """The findings of so many seeds; nothing is timed against anything here, so all cores are used."""
    if count < 200:
        into += [_one(seed, rising) for seed in range(count)]
        return
    with ProcessPoolExecutor() as pool:
        into += pool.map(partial(_one, rising=rising), range(count), chunksize=20)


def measure(table: Any, falling: int, rising: int) -> None:
    """Solve so many networks with falling and with rising fans and count what happened."""
    for words, count, is_rising in (("falling fans", falling, False), ("rising fans", rising, True)):
        found: list[Any] = []
        spent = timed(partial(_examined, count, is_rising, found))
        total = summary(found)
        print(f"  {count:,} networks with {words}: {total['words']}")
        table.add(f"{words}: solved", total["solved"], f"{total['solved']:,}")
        table.add(f"{words}: structural reasons, verified", total["structural"], f"{total['structural']:,}")
        failed = total["failed"]
        table.add(f"{words}: without an answer", len(failed), f"{len(failed):,}", "aim: none", not failed)
        if failed:
            print(f"    seeds {failed[:20]}")
        loose = total["unstable"]
        table.add(f"{words}: unstable answers", len(loose), f"{len(loose):,}", "aim: none", not loose)
        if loose:
            print(f"    seeds {loose[:20]}")
        if is_rising:
            several = total["several points"]
            table.add(f"{words}: with other points listed", several, f"{several:,}")
        else:
            other = total["other answers"]
            met = not other
            table.add(
                f"{words}: another answer from another start", len(other), f"{len(other):,}", "aim: none", met
            )
            if other:
                print(f"    seeds {other[:20]}")
            for end, seeds in total["alone"].items():
                words_of_end = f"{words}: from there Newton's method by itself ends {end}"
                table.add(words_of_end, len(seeds), f"{len(seeds):,}")
        for share in (50, 90, 99, 100):
            steps = float(np.percentile(total["steps"], share))
            table.add(f"{words}: steps, {share} % within", steps, f"{steps:.0f}")
        table.time(f"{words}: a network, its checks included, on all cores", spent.over(count))
        for trait, number in Counter(total["traits"]).most_common():
            table.add(f"{words}: share with {trait}", number / count, f"{number / count:.0%}")
