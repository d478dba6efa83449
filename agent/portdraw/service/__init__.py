"""How does it run? Settings, cycle, calendar jobs, wiring, start and stop."""
