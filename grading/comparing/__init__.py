"""Two to six animals, sires, lines, herds or birth years beside one another.

`kinds` says what can be compared and which animals stand behind each; `asked` reads the address; `sums` asks the
database; `footing` chooses which looks are alike; `page` arranges; `lineup`, `plot` and `photos` are parts of the page.
"""
