"""Writes of this app: keyword-only functions with `by=`, each in one transaction."""
