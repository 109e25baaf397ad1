"""Balancing: trims of exposure and white that make the shots of a scene agree."""

from lookkit.balance.run import Balanced, Group, Shot, Wanted, balance
from lookkit.balance.write import write_trims

__all__ = ["Balanced", "Group", "Shot", "Wanted", "balance", "write_trims"]
