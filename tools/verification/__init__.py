"""Verification: requirements as formulas over a run's trace, judged scan by scan, and the acceptance record."""
