"""What grading adds to the animal's and the herd's pages."""


def register():
    """Called once when the app is ready."""
    from . import panel_compare, panel_kits, panel_looks, panel_pedigree, panel_photos, takeout

    panel_looks.register()
    panel_photos.register()
    panel_compare.register()
    panel_pedigree.register()
    panel_kits.register_parts()
    takeout.register_parts()
