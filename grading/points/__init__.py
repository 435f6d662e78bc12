"""The points sheet: `arithmetic` adds up and `questions` compares, both without Django; `reading` loads and words them.

Points are given, never worked out: nothing here turns a description into points.
"""
