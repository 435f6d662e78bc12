"""Walks through the site in a real browser, with a picture kept of each state."""
