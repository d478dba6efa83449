"""What do the switches say? Catalogue of mibs/, engines, tables into records. Imports plan, observation."""
