"""tapproof: measure cell-monitor boards on a bench and judge them with uncertainty."""
