"""Figures and the page."""
