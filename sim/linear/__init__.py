"""Linear models of the marched plant and of the logic that controls it, and what they say about stability."""
