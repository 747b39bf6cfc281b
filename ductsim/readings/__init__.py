"""Readings taken on a machine: read, checked, and explained by its uncertain numbers."""

from .checks import ReadingCheck, ReducedReadings
from .table import Readings
from .traversing import Traverse

for _kind in (Readings, ReadingCheck, ReducedReadings, Traverse):  # each has one table, of its rows
    _kind.show_by(tables=lambda found: {"table": found.rows()})
