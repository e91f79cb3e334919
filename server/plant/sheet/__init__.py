"""The sheet that a plant is drawn on: areas, the pen, the points."""
