"""The world, and what is measured of it."""

from sim.compiled import prepare_cache

prepare_cache()
