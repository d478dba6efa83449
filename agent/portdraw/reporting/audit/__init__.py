"""What was designed, what was drawn, what has drifted, what was never seen? Data first, then HTML, CSV and JSON."""
