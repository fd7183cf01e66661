"""The jobs about the ship's rules."""
