"""What it means: pure, clock-free functions from model to conditions, rollups and lamps."""
