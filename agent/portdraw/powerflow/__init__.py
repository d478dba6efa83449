"""How many watts, where, on which leg? Imports plan and electrical only; pure."""
