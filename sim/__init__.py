"""The world, and what is measured of it."""
