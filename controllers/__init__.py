"""The logic: pluggable layers that turn readings into commands."""
