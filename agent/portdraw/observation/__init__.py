"""Records of what was read: value, unit, basis, source, age, or why it is missing. Imports nothing of ours; pure."""
