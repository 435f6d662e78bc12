"""What looks add to the animal's and the herd's pages."""


def register():
    """Called once when the app is ready."""
