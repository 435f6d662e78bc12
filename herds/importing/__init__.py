"""From the records of a sheet to rows of the registry: matching, the plan of every row, writing and taking back."""
