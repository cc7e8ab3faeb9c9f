"""Exercises as data: the spec, a variant for each learner, checks and their verdict."""
