"""Studies: one file or package for each question that takes more than one run, or none."""
