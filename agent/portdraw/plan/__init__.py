"""What was designed? The site file, checked; who feeds whom. Imports electrical only."""
