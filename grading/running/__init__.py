"""A run of the mixed model: `reading` makes arrays of rows, `work` does it, `storing` keeps what it found."""
