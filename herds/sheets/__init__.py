"""Reading sheets as people keep them. Pure functions: bytes to worksheets, headers to columns, cells to values."""
