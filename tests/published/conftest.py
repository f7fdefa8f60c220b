"""Lets these tests import the helpers of their neighbours."""

import sys
from pathlib import Path

for folder in ("physics", "exact"):
    place = str(Path(__file__).parent.parent / folder)
    if place not in sys.path:
        sys.path.append(place)
