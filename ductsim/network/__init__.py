"""Parts joined at nodes, solved for flows and pressures together."""

from .groups import Entry
from .network import NetworkBuilder
from .state import Outcome, State
from .system import Compiled, System

__all__ = ["Compiled", "Entry", "NetworkBuilder", "Outcome", "State", "System"]
