"""Watches Power over Ethernet watts on both legs of every pass-through switch."""
