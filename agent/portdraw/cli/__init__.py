"""The commands, one file each, thin."""
