"""Laws: plain vectorised functions that give a drop with its slopes, each with a card."""
