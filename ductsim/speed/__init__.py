"""The ground speed that the carrying margins allow, and what a season has told about them."""

from ..crop.described import Crop
from . import told
from .calibrating import calibrate, crop_from, read_seen
from .calibration import Calibration
from .runs import Run

Calibration.show_by(
    tables=told.tables,
    sentences=told.sentences,
    notes=told.notes,
    cautions=told.cautions,
    about=told.about,
    plots="ductsim.speed.drawn:PLOTS",
)
Crop.calibrate = staticmethod(calibrate)

__all__ = ["Calibration", "Crop", "Run", "calibrate", "crop_from", "read_seen"]
