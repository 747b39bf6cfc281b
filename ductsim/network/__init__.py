"""Parts joined at nodes, solved for flows and pressures together."""

from .network import NetworkBuilder
from .state import Outcome, State
from .system import Compiled, Entry, System

__all__ = ["Compiled", "Entry", "NetworkBuilder", "Outcome", "State", "System"]
