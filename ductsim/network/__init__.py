"""Parts joined at nodes, solved for flows and pressures together."""

from .network import Network
from .state import Outcome, State
from .system import Compiled, Entry, System

__all__ = ["Compiled", "Entry", "Network", "Outcome", "State", "System"]
