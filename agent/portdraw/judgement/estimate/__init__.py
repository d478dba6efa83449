"""How many watts does each port draw where its unit tells only its total? Pure; learns from steps of the total."""
