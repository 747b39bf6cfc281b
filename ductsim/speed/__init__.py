"""The ground speed that the carrying margins allow, and what a season has told about them."""

from ..crop.crop import Crop
from . import summary
from .calibrating import calibrate, crop_from, read_seen
from .calibration import Calibration
from .runs import Run

Calibration.show_by(
    tables=summary.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    cautions=summary.cautions,
    about=summary.about,
    plots="ductsim.speed.plots:PLOTS",
)
Crop.calibrate = staticmethod(calibrate)

__all__ = ["Calibration", "Crop", "Run", "calibrate", "crop_from", "read_seen"]
