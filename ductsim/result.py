"""The base of everything a study returns: one set of rows feeds every way of showing it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from .errors import visible

if TYPE_CHECKING:
    import pandas as pd


class Result:
    """Rows with their measures in the keys; tables, JSON, the command line and the report all read them.

    A subclass gives `rows()` and `sentences()`, and a plot in `ductsim.show.plots` under its class name.
    """

    def rows(self) -> list[dict[str, Any]]:
        """Plain dicts, measures in the keys (`vacuum_Pa`)."""
        raise TypeError(f"{type(self).__name__} gives no rows")

    def tables(self) -> dict[str, list[dict[str, Any]]]:
        """Name -> rows of everything there is to show; `rows()` are the first of them."""
        return {"table": self.rows()}

    def sentences(self) -> list[str]:
        """A few plain sentences, the answer first."""
        return []

    def table(self) -> pd.DataFrame:
        """The rows as a DataFrame."""
        from .show.tables import frame

        return frame(self.rows())

    def plot(self, ax: Any = None, what: str = "", measures: str = "metric") -> Any:
        """Draw the result; matplotlib Axes come back.

        `what` names one of its plots where it has several; `measures` is "metric" or "inch".
        """
        from .show.plots import draw

        return draw(self, ax, what, measures)

    def __str__(self) -> str:
        return "\n".join(map(visible, self.sentences()))

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {visible(next(iter(self.sentences()), ''))}>"

    def _repr_html_(self) -> str:
        from .show.tables import html

        return html(self.sentences(), self.rows())
