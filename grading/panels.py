"""What grading adds to the animal's and the herd's pages."""


def register():
    """Called once when the app is ready."""
    from . import panel_looks, panel_pedigree, panel_photos

    panel_looks.register()
    panel_photos.register()
    panel_pedigree.register()
