"""Synthetic readings for the field page's suspects, and how far the page goes along with a fit.

    python tests/field_card_cases.py 200        (some minutes for each fifty)

draws machines with no, one or two faults within what is believed of them, reads them with the usual errors,
has `fit(..., suspects="leaks")` and the page rank the suspects, and prints how often they agree.
"""

from __future__ import annotations

import json
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
from chromium import Chromium

import ductsim as ds
from ductsim.readings.model import ReadingModel
from ductsim.readings.unknowns import default_scale, nuisances, unknowns_of, usual_speed
from ductsim.studies.fit.suspecting import FAULTY, sound_belief, suspects_of

TELLING = 3.0
"""A fit can tell where every explanation without its suspect is so much less probable."""

WEIGH = """(() => {
  const page = window.fieldCard, data = JSON.parse(document.getElementById("data").textContent);
  const shown = data.readings.sheets;
  return CASES.map((rows) => {
    page.kept.cells = {};
    for (const [sheet, tapping, value, place] of rows) {
      const vacuum = shown[sheet === "A" ? 0 : 1].shown[place][1] < 0;
      const text = !vacuum ? String(value) : value > 0 ? "+" + value : String(-value);
      page.kept.cells[sheet + "/" + tapping] = { text: text };
    }
    const found = page.weigh(page.typed()), told = page.judged(found);
    return { chances: found.chances, faulty: told.faulty, told: !told.unsure.length };
  });
})()"""


def cases(machine, sheets, count, seed=0):
    """(faulty addresses, readings) of machines that are drawn; of every other one the first sheet only."""
    rng = np.random.default_rng(seed)
    speed = usual_speed(machine)
    every = [
        ds.Reading(tapping.name, 0.0, engine_speed=speed, set=sheet.name, blanked=sheet.blanked)
        for sheet in sheets
        for tapping in machine.layout.tappings
    ]
    suspects = suspects_of(machine, unknowns_of(machine))
    scales = {u.address: u.scale(machine.layout) for u in suspects}
    scales.update({name: default_scale(machine, name) for name in nuisances(machine, scales)})
    model = ReadingModel(machine, every, scales)
    mean, sd = sound_belief(machine, suspects, model)
    for k in range(count):
        z = mean + sd * rng.standard_normal(model.size)
        faulty = rng.choice(len(suspects), (1, 2, 1, 1, 1, 1, 0, 1)[k % 8], replace=False)
        z[faulty] = FAULTY[0] + FAULTY[1] * rng.standard_normal(len(faulty))
        true = model.predict(z[:, None])[:, 0]
        shown = true + model.noise(true) * rng.standard_normal(len(true))
        taken = [replace(r, value=round(float(v), 1)) for r, v in zip(every, shown, strict=True)]
        yield [suspects[i].address for i in faulty], [r for r in taken if k % 2 or r.set == sheets[0].name]


def weighed_by_page(card, readings, folder):
    """What the page makes of each set of readings."""
    place = Path(folder) / "page.html"
    card.write(place)
    places = {tapping.name: i for i, tapping in enumerate(card.machine.layout.tappings)}
    rows = [[[r.set, r.tapping, r.value, places[r.tapping]] for r in taken] for taken in readings]
    with Chromium(Path(folder) / "profile") as browser:
        browser.open(place.as_uri())
        return browser.run(WEIGH.replace("CASES", json.dumps(rows)))


def judged(fit):
    """The first suspect of the most probable hypothesis, and whether the fit can tell."""
    best, chance = fit.hypotheses[0]
    others = [max((c for names, c in fit.hypotheses if name not in names), default=0.0) for name in best] or [
        max((c for names, c in fit.hypotheses if names), default=0.0)
    ]
    first = max(best, key=lambda name: fit.chances[name], default="")
    return first, max(others) * TELLING <= chance


def compared(machine, card, count, folder, seed=0):
    """A row for each case: the truth, what the fit says, what the page says."""
    drawn = list(cases(machine, card.sheets, count, seed))
    pages = weighed_by_page(card, [readings for _, readings in drawn], folder)
    out = []
    for (truth, readings), own in zip(drawn, pages, strict=True):
        first, told = judged(ds.fit(machine, readings, suspects="leaks"))
        names = card.weighing.suspects
        found = max(own["faulty"], key=lambda i: own["chances"][i], default=None)
        out.append(
            {
                "truth": truth,
                "fit": first,
                "fit_tells": told,
                "page": "" if found is None else names[found],
                "page_tells": own["told"],
            }
        )
    return out


def main(count):
    machine = ds.demo("picker")
    card = ds.field_card(machine)
    with tempfile.TemporaryDirectory() as folder:
        rows = compared(machine, card, count, folder)
    tells = [row for row in rows if row["fit_tells"]]
    silent = [row for row in rows if not row["fit_tells"]]
    same = sum(row["fit"] == row["page"] for row in tells)
    print(f"{len(rows)} cases; the fit can tell {len(tells)} of them")
    print(
        f"first suspect of the page is that of the fit in {same} of these ({same / max(len(tells), 1):.1%})"
    )
    quiet = sum(not row["page_tells"] for row in silent)
    print(f"the page says it can't tell in {quiet} of the {len(silent)} where the fit can't")
    for who in ("fit", "page"):
        told = [row for row in rows if row[f"{who}_tells"] and row[who]]
        wrong = sum(row[who] not in row["truth"] for row in told)
        print(f"the {who} names a fault as told in {len(told)} cases, a wrong one in {wrong}")
    for row in tells:
        if row["fit"] != row["page"]:
            print("  ", row)


if __name__ == "__main__":
    main(int(sys.argv[1]))
