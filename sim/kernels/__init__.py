"""Compiled physics: numpy and numba only, arrays in and arrays out."""
