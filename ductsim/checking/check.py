"""`check_part`: every check on every example, and what was found, in sentences."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from ..arguments import listed
from ..errors import InputError, shown
from ..parts.declare import Part
from ..result import Result
from . import formal, physical
from .examples import examples_of
from .probing import Wrong

CHECKS: tuple[Callable[[Any], None], ...] = (
    formal.shapes,
    physical.slopes,
    physical.meets_itself,
    physical.finite_at_zero,
    physical.signed,
    physical.coercive,
    formal.containers,
    formal.columns,
    formal.zero_is_normal,
    physical.quiet,
    formal.refuses_bad_values,
    formal.carded,
    formal.guesses,
    formal.survives,
)


@dataclass(frozen=True)
class Finding:
    """What one check found.

    Attributes
    ----------
    check : str
        Its name.
    about : str
        What it looks at, a sentence.
    found : str
        What is wrong with the first example that fails; empty where all pass.
    example : str
        That example.
    tried : int
        How many examples passed before it, or all of them.
    """

    check: str
    about: str
    found: str
    example: str
    tried: int


@dataclass(repr=False, eq=False)
class PartCheck(Result):
    """What every check of a part found; made by `check_part`.

    Attributes
    ----------
    kind : str
    examples : list of Part
        The parts that were tried.
    findings : list of Finding
        One for each check.
    """

    kind: str
    examples: list[Part]
    findings: list[Finding]

    @property
    def passed(self) -> bool:
        """True where no check found anything wrong."""
        return not self.failed

    @property
    def failed(self) -> list[Finding]:
        """The checks that found something wrong."""
        return [finding for finding in self.findings if finding.found]


def check_part(part: Any, examples: Iterable[Part] | None = None) -> PartCheck:
    """Try what the network relies on: slopes against differences, signs, columns, ranges, card, sources.

    A wrong slope does not change where a solve ends, but makes every derivative wrong: run this on each
    part and law of your own.

    Parameters
    ----------
    part : Part, or a class of parts
        One part is tried as it is. Of a class examples are made: by its own classmethod `examples()` if
        it has one, else from its declared numbers.
    examples : iterable of Part, optional
        Parts to try instead.

    Returns
    -------
    PartCheck
        `passed` tells the outcome and `sentences()` what is wrong. It does not raise for a part that fails.

    Raises
    ------
    InputError
        For something that is no part, and a class of which no example can be made.
    """
    is_class = isinstance(part, type) and issubclass(part, Part)
    if not is_class and not isinstance(part, Part):
        raise InputError(f"{shown(part)} is not a part", place="check_part", allowed="a part, or its class")
    kind: Any = part if is_class else type(part)
    if not kind.kind:
        raise InputError(
            f"{kind.__name__} has no kind", place="check_part", allowed="decorate it with ds.part"
        )
    if examples is not None:
        tried = listed(examples, "check_part, examples", "a list of parts")
    else:
        tried = examples_of(kind) if is_class else [part]
    for example in tried:
        if type(example) is not kind:
            raise InputError(
                f"{shown(example)} is no {kind.__name__}", place="check_part, examples", allowed="parts of it"
            )
    if not tried:
        raise InputError(
            f"no example of {kind.kind!r} can be made from its declared numbers",
            place="check_part",
            allowed="give some, check_part(part, [part(...), ...]), or the class a method examples()",
        )
    return PartCheck(kind.kind, tried, [_finding(check, tried) for check in CHECKS])


def _finding(check: Callable[[Any], None], examples: list[Part]) -> Finding:
    about = " ".join((check.__doc__ or "").split())
    for count, example in enumerate(examples):
        try:
            check(example)
        except Wrong as err:
            found = str(err)
        except Exception as err:  # a user's own law may fail in any way
            found = f"{type(err).__name__}: {err}"
        else:
            continue
        return Finding(check.__name__, about, found, repr(example), count)
    return Finding(check.__name__, about, "", "", len(examples))
