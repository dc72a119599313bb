"""From a Turbine to packed arrays."""
