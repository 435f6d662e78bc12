"""What breeders believe, tested on the club's own rows.

`numbers` : arrays in, small dataclasses out, no Django. `reading` : rows into arrays, and the figures that are kept.
`words` : the beliefs and what the figures say of them. `pages` : which of it a member is shown.
"""
