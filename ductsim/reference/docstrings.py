"""Docstrings as HTML: paragraphs, lists, code, and the sections of the NumPy style."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from html import escape

Link = Callable[[str], str]
"""`link(name)`: the address of what a word in backticks names, an empty text where it names nothing."""

SECTION = re.compile(r"^([A-Z][\w ]*)\n(-{3,})$", re.M)
AS_WRITTEN = ("Examples", "Example")


@dataclass
class Section:
    """One section of a docstring.

    Attributes
    ----------
    title : str
        Its heading; empty for what stands before the first.
    text : str
    items : list of (str, str)
        (head, text) of each entry, where the section is a list of such.
    """

    title: str
    text: str
    items: list[tuple[str, str]] = field(default_factory=list)


def sections(doc: str) -> list[Section]:
    """The sections of a docstring as `inspect.getdoc` gives it, the words before the first one included."""
    pieces = SECTION.split(doc.strip())
    out = [Section("", pieces[0].strip())] if pieces[0].strip() else []
    for title, _, text in zip(pieces[1::3], pieces[2::3], pieces[3::3], strict=True):
        plain = title in AS_WRITTEN
        out.append(Section(title, text.strip("\n"), [] if plain else list(_items(text))))
    return out


def entry_docs(doc: str) -> dict[str, str]:
    """Name -> what the entries of "Parameters" and "Attributes" say of it."""
    out = {}
    for section in sections(doc):
        if section.title in ("Parameters", "Attributes"):
            for head, text in section.items:
                for name in head.partition(" : ")[0].split(","):
                    out[name.strip()] = " ".join(text.split())
    return out


def summary(doc: str) -> str:
    """The first paragraph of a docstring, on one line."""
    return " ".join(doc.strip().partition("\n\n")[0].split())


def _items(text: str) -> Iterator[tuple[str, str]]:
    """Lines at the margin with the indented lines below each; prose at the margin comes without a head."""
    head = ""
    rest: list[str] = []
    for paragraph in re.split(r"\n[ \t]*\n", text.strip("\n")):
        lines = paragraph.splitlines()
        if paragraph.rstrip().endswith(".") and not any(line.startswith(" ") for line in lines):
            if head:
                yield head, "\n".join(rest).strip("\n")
            head, rest = "", []
            yield "", paragraph
            continue
        for line in lines:
            if not line.startswith(" "):
                if head:
                    yield head, "\n".join(rest).strip("\n")
                head, rest = line, []
            else:
                rest.append(line[4:])
        rest.append("")
    if head:
        yield head, "\n".join(rest).strip("\n")


def html(doc: str, link: Link, skip: tuple[str, ...] = ()) -> str:
    """A docstring as HTML, without the sections named in `skip`."""
    out = []
    for section in sections(doc):
        if section.title in skip:
            continue
        if section.title:
            out.append(f'<p class="part">{escape(section.title)}</p>')
        listed = section.title in ("Parameters", "Attributes") or any(
            head and text for head, text in section.items
        )
        out.append(_definitions(section.items, link) if listed else blocks(section.text, link))
    return "".join(out)


def _definitions(items: list[tuple[str, str]], link: Link) -> str:
    rows = []
    for head, text in items:
        name, _, kind = head.partition(" : ")
        told = f' <span class="type">{inline(kind, link)}</span>' if kind else ""
        words = blocks(text, link)
        rows.append(
            f"<dt><code>{escape(name)}</code>{told}</dt><dd>{words}</dd>" if head else f"</dl>{words}<dl>"
        )
    return f"<dl>{''.join(rows)}</dl>".replace("<dl></dl>", "")


def blocks(text: str, link: Link) -> str:
    """Paragraphs, lists ("- ...") and code (indented, or after >>>), parted by empty lines."""
    out = []
    for block in re.split(r"\n[ \t]*\n", text.strip("\n")):
        lines = block.splitlines()
        if not block.strip():
            continue
        if lines[0].startswith((">>> ", "    ")):
            out.append(f"<pre>{escape(_dedented(block))}</pre>")
        elif lines[0].startswith("- "):
            items = [item.replace("\n", " ") for item in re.split(r"\n(?=- )", block)]
            out.append("<ul>" + "".join(f"<li>{inline(i[2:], link)}</li>" for i in items) + "</ul>")
        else:
            out.append(f"<p>{inline(' '.join(block.split()), link)}</p>")
    return "".join(out)


def _dedented(block: str) -> str:
    margin = min(len(line) - len(line.lstrip()) for line in block.splitlines() if line.strip())
    return "\n".join(line[margin:] for line in block.splitlines())


def inline(text: str, link: Link) -> str:
    """A text on one line; what stands in backticks is code, and leads to what it names."""
    out = []
    for i, piece in enumerate(re.split(r"``?([^`]+)``?", text)):
        if i % 2:
            to = link(piece)
            code = f"<code>{escape(piece)}</code>"
            out.append(f'<a href="#{to}">{code}</a>' if to else code)
        else:
            out.append(escape(piece))
    return "".join(out)
