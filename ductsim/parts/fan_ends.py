"""What the ducts at a fan's ends take from it: named cases with published coefficients and spreads."""

from __future__ import annotations

from dataclasses import dataclass

from .choices import Choice


@dataclass(frozen=True, slots=True)
class FanEnd:
    """A case of a fan's inlet or outlet.

    Attributes
    ----------
    number : str
        Which number of a fan it belongs to: "inlet_loss" or "outlet_loss".
    coefficient : float
        On the velocity pressure in the section there [-].
    spread : float
        Relative standard deviation [-]: our assumption.
    source : str
        Key of its source; the source's standing says whether it was seen or is recalled.
    """

    number: str
    coefficient: float
    spread: float
    source: str

    def choice(self, word: str) -> Choice:
        """The case as a word in place of the number."""
        return Choice(word, self.coefficient, self.spread, self.source)


# Coefficients by the letters of the system effect curves: O 2.5, P 1.9, Q 1.5, R 1.2, S 0.75, T 0.50, U 0.40,
# V 0.25, W 0.17, X 0.10. A mean stands where a case lies between two of them.
FAN_ENDS: dict[str, FanEnd] = {
    "three-piece bend at the eye, r/D 1, no straight duct": FanEnd("inlet_loss", 1.2, 0.3, "amca201"),
    "three-piece bend at the eye, r/D 1, two diameters of straight duct": FanEnd(
        "inlet_loss", 0.75, 0.3, "amca201"
    ),
    "three-piece bend at the eye, r/D 1, five diameters of straight duct": FanEnd(
        "inlet_loss", 0.5, 0.3, "amca201"
    ),
    "mitred bend at the eye, no straight duct": FanEnd("inlet_loss", 3.2, 0.3, "amca201"),
    "mitred bend at the eye, two diameters of straight duct": FanEnd("inlet_loss", 1.9, 0.3, "amca201"),
    "no straight duct behind the outlet, blast area 0.6 of it": FanEnd("outlet_loss", 1.0, 0.3, "amca201"),
    "no straight duct behind the outlet, blast area 0.8 of it": FanEnd("outlet_loss", 0.45, 0.3, "amca201"),
    "diffuser behind the outlet": FanEnd("outlet_loss", 0.16, 0.3, "ashrae2021ch21"),
}
"""Published coefficients by case, for `inlet_loss` and `outlet_loss` of a fan."""
