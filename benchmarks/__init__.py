"""How well and how fast Straightband reads: measured, never tested (a clock makes a poor test on a busy machine)."""
