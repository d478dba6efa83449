"""What do physics and the standard say of one cable, one class, one supply? Imports nothing of ours."""
