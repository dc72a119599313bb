"""Benchmarks: started by hand, never a test."""
