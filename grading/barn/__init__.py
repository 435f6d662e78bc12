"""A whole herd at a distance: what most of its animals share, how close they are bred, and what to do next season."""
