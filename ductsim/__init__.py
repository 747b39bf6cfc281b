"""Air, suction and crop flow in the duct systems of mechanical crop harvesters.

Describe the machine as measured, read off the vacuum and the air at every unit, and see what each fix is
worth. Every public name is loaded when it is first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from .air import Air as Air
    from .cautions import CAUTIONS as CAUTIONS
    from .cautions import cautions_for as cautions_for
    from .conveying import Loaded as Loaded
    from .errors import DuctsimError as DuctsimError
    from .errors import InputError as InputError
    from .errors import NoOperatingPoint as NoOperatingPoint
    from .errors import OutsideRange as OutsideRange
    from .errors import UnknownName as UnknownName
    from .errors import WrongSlope as WrongSlope
    from .laws.card import LAWS as LAWS
    from .laws.card import law as law
    from .machine.asked import Question as Question
    from .machine.asked import add_word as add_word
    from .machine.changing import grid as grid
    from .machine.crop.box import Box as Box
    from .machine.crop.calibration import Calibration as Calibration
    from .machine.crop.calibration import calibrate as calibrate
    from .machine.crop.described import Crop as Crop
    from .machine.crop.file import read_crop as read_crop
    from .machine.demos import demo as demo
    from .machine.fixes import Fix as Fix
    from .machine.fixes import read_fixes as read_fixes
    from .machine.layout import Layout as Layout
    from .machine.machine import Machine as Machine
    from .machine.readings.checks import check_readings as check_readings
    from .machine.readings.checks import reduce_readings as reduce_readings
    from .machine.readings.model import ReadingErrors as ReadingErrors
    from .machine.readings.table import Reading as Reading
    from .machine.readings.table import Readings as Readings
    from .machine.readings.table import read_readings as read_readings
    from .machine.readings.traversing import Traverse as Traverse
    from .machine.readings.traversing import traverse as traverse
    from .machine.readings.traversing import traverse_places as traverse_places
    from .machine.spreads import Spread as Spread
    from .machine.state import MachineState as MachineState
    from .network.network import Network as Network
    from .network.state import Outcome as Outcome
    from .network.state import State as State
    from .parts.bend import Bend as Bend
    from .parts.checking import PartCheck as PartCheck
    from .parts.checking import check_part as check_part
    from .parts.declare import KINDS as KINDS
    from .parts.declare import LocalAir as LocalAir
    from .parts.declare import Pair as Pair
    from .parts.declare import Part as Part
    from .parts.declare import Path as Path
    from .parts.declare import fields as fields
    from .parts.declare import nested as nested
    from .parts.declare import number as number
    from .parts.declare import part as part
    from .parts.declare import word as word
    from .parts.duct import Duct as Duct
    from .parts.fan import Fan as Fan
    from .parts.gate import Gate as Gate
    from .parts.hose import Hose as Hose
    from .parts.jet import Jet as Jet
    from .parts.leak import Leak as Leak
    from .parts.opening import Opening as Opening
    from .parts.resistance import Resistance as Resistance
    from .parts.screen import Screen as Screen
    from .parts.tee import Merge as Merge
    from .parts.tee import Split as Split
    from .parts.transition import Entrance as Entrance
    from .parts.transition import Transition as Transition
    from .quantity import si as si
    from .quantity import times as times
    from .result import Result as Result
    from .show.explore import Explorer as Explorer
    from .show.explore import explore as explore
    from .show.plots import draw as draw
    from .show.report import report as report
    from .sources import SOURCES as SOURCES
    from .studies.balancing import Balance as Balance
    from .studies.balancing import Trim as Trim
    from .studies.balancing import balance as balance
    from .studies.comparing import Comparison as Comparison
    from .studies.comparing import compare as compare
    from .studies.driving import GroundSpeed as GroundSpeed
    from .studies.driving import ground_speed as ground_speed
    from .studies.field import FieldPass as FieldPass
    from .studies.field import field_pass as field_pass
    from .studies.filling import Fill as Fill
    from .studies.filling import fill as fill
    from .studies.fitting import Fit as Fit
    from .studies.fitting import Suspects as Suspects
    from .studies.fitting import fit as fit
    from .studies.measuring import NextReadings as NextReadings
    from .studies.measuring import where_to_measure as where_to_measure
    from .studies.proving import Proof as Proof
    from .studies.proving import proof as proof
    from .studies.sampling import Ensemble as Ensemble
    from .studies.sampling import ensemble as ensemble
    from .studies.sweeping import Sweep as Sweep
    from .studies.sweeping import sweep as sweep

_MODULES = {
    "Air": "air",
    "CAUTIONS": "cautions",
    "cautions_for": "cautions",
    "DuctsimError": "errors",
    "InputError": "errors",
    "NoOperatingPoint": "errors",
    "OutsideRange": "errors",
    "UnknownName": "errors",
    "WrongSlope": "errors",
    "LAWS": "laws.card",
    "law": "laws.card",
    "Question": "machine.asked",
    "add_word": "machine.asked",
    "grid": "machine.changing",
    "demo": "machine.demos",
    "Layout": "machine.layout",
    "Machine": "machine.machine",
    "Loaded": "conveying",
    "Crop": "machine.crop.described",
    "read_crop": "machine.crop.file",
    "Box": "machine.crop.box",
    "Calibration": "machine.crop.calibration",
    "calibrate": "machine.crop.calibration",
    "GroundSpeed": "studies.driving",
    "ground_speed": "studies.driving",
    "Fill": "studies.filling",
    "fill": "studies.filling",
    "FieldPass": "studies.field",
    "field_pass": "studies.field",
    "MachineState": "machine.state",
    "Network": "network.network",
    "Outcome": "network.state",
    "State": "network.state",
    "Bend": "parts.bend",
    "check_part": "parts.checking",
    "PartCheck": "parts.checking",
    "KINDS": "parts.declare",
    "LocalAir": "parts.declare",
    "Pair": "parts.declare",
    "Part": "parts.declare",
    "Path": "parts.declare",
    "fields": "parts.declare",
    "nested": "parts.declare",
    "number": "parts.declare",
    "part": "parts.declare",
    "word": "parts.declare",
    "Duct": "parts.duct",
    "Fan": "parts.fan",
    "Hose": "parts.hose",
    "Jet": "parts.jet",
    "Leak": "parts.leak",
    "Opening": "parts.opening",
    "Resistance": "parts.resistance",
    "Transition": "parts.transition",
    "Entrance": "parts.transition",
    "Split": "parts.tee",
    "Merge": "parts.tee",
    "Screen": "parts.screen",
    "Gate": "parts.gate",
    "Fix": "machine.fixes",
    "read_fixes": "machine.fixes",
    "Comparison": "studies.comparing",
    "compare": "studies.comparing",
    "Balance": "studies.balancing",
    "Trim": "studies.balancing",
    "balance": "studies.balancing",
    "Sweep": "studies.sweeping",
    "sweep": "studies.sweeping",
    "Reading": "machine.readings.table",
    "Readings": "machine.readings.table",
    "read_readings": "machine.readings.table",
    "check_readings": "machine.readings.checks",
    "reduce_readings": "machine.readings.checks",
    "ReadingErrors": "machine.readings.model",
    "fit": "studies.fitting",
    "Fit": "studies.fitting",
    "Suspects": "studies.fitting",
    "where_to_measure": "studies.measuring",
    "NextReadings": "studies.measuring",
    "proof": "studies.proving",
    "Proof": "studies.proving",
    "traverse": "machine.readings.traversing",
    "traverse_places": "machine.readings.traversing",
    "Traverse": "machine.readings.traversing",
    "si": "quantity",
    "times": "quantity",
    "Result": "result",
    "SOURCES": "sources",
    "explore": "show.explore",
    "Explorer": "show.explore",
    "draw": "show.plots",
    "report": "show.report",
    "Ensemble": "studies.sampling",
    "ensemble": "studies.sampling",
    "Spread": "machine.spreads",
}

__all__ = ["__version__", *_MODULES]


def __getattr__(name: str) -> Any:
    module = _MODULES.get(name)
    if module is None:
        raise AttributeError(f"module 'ductsim' has no attribute {name!r}")
    value = getattr(import_module(f".{module}", __name__), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_MODULES})
