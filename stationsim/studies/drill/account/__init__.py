"""The end of a drill: truth beside what was known, the courses, what each decision was worth."""
