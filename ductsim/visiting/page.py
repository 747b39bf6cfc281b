"""The sheet of a visit on paper: a page of HTML or plain text with room to write in."""

from __future__ import annotations

from collections.abc import Sequence

from ..deciding.candidates import taped_words
from ..description.layout import Layout
from ..display.tables import escaped
from ..display.tables import text as table_text
from ..quantity import RPM
from ..wording import said
from .steps import FIX, Step

STYLE = """
body { font: 11pt sans-serif; margin: 12mm; color: #111; }
table { border-collapse: collapse; width: 100%; margin-bottom: 5mm; }
th, td { border: 1px solid #555; padding: 2mm; text-align: left; }
td.blank { min-width: 28mm; height: 8mm; }
h2 { font-size: 12pt; margin: 4mm 0 2mm; } li { margin-bottom: 1mm; }
@media print { body { margin: 0; } h2, table { break-inside: avoid; } }
"""
BLANK = '<td class="blank"></td>'


def page(
    title: str,
    layout: Layout,
    sentences: Sequence[str],
    steps: Sequence[Step],
    cautions: Sequence[str],
    measures: str,
) -> str:
    """The whole visit as one page of HTML that needs nothing else; `measures` is "metric" or "inch"."""
    title = escaped(title)
    body = [f"<h1>Visit: {title}</h1>", "<p>Date ____________ &nbsp; Who ____________</p>"]
    body += [f"<p>{escaped(words)}</p>" for words in sentences]
    for i, step in enumerate(steps, 1):
        head = f"{i}. {step.kind}, minute {step.start:.0f} to {step.start + step.minutes:.0f}"
        body.append(f"<h2>{escaped(head)}</h2>")
        if step.kind == FIX:
            rows = [f"<tr><td>{escaped(name)}</td>{BLANK}</tr>" for name in step.fixes]
            body.append(f"<table><tr><th>fix</th><th>done, what was seen</th></tr>{''.join(rows)}</table>")
            continue
        heads = "".join(
            f"<th>{escaped(word)}</th>"
            for word in ("tapping", "tape shut", "engine speed", "expected", "read", "remark")
        )
        rows = []
        for r in step.readings:
            speed = "" if r.engine_speed is None else f"{r.engine_speed * RPM:,.0f} rpm"
            taped = taped_words(layout, r.blanked) or "nothing"
            cells = (r.place, taped, speed, said(r.value, r.measure, measures))
            rows.append("<tr>" + "".join(f"<td>{escaped(c)}</td>" for c in cells) + BLANK * 2 + "</tr>")
        body.append(f"<table><tr>{heads}</tr>{''.join(rows)}</table>")
    listed = "".join(f"<li>{escaped(words)}</li>" for words in cautions)
    body.append(f"<h2>Cautions</h2><ul>{listed}</ul>")
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>Visit: {title}</title>'
        f"<style>{STYLE}</style></head>\n<body>\n" + "\n".join(body) + "\n</body></html>\n"
    )


def text(
    title: str,
    layout: Layout,
    sentences: Sequence[str],
    steps: Sequence[Step],
    cautions: Sequence[str],
    measures: str,
) -> str:
    """The same in plain text."""
    out = [f"Visit: {title}", "Date ____________  Who ____________", ""]
    out += [*sentences, ""]
    for i, step in enumerate(steps, 1):
        out.append(f"{i}. {step.kind}, minute {step.start:.0f} to {step.start + step.minutes:.0f}")
        if step.kind == FIX:
            out += [f"   [ ] {name}  ____________________" for name in step.fixes]
        else:
            rows = [
                {
                    "tapping": r.place,
                    "tape_shut": taped_words(layout, r.blanked) or "nothing",
                    "engine_speed_rpm": None if r.engine_speed is None else r.engine_speed * RPM,
                    "expected_Pa": r.value,
                    "read": "__________",
                }
                for r in step.readings
            ]
            out.append(table_text(rows, measures))
        out.append("")
    return "\n".join([*out, "Cautions", *(f"- {words}" for words in cautions), ""])
