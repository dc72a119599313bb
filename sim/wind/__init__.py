"""Wind: spectra, turbulence, gusts, and what a lane meets."""
