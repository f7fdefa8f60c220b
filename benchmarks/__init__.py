"""Measurements of speed and of accuracy for its cost: ``python -m benchmarks --quick``. See README.md here."""
