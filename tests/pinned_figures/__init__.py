"""Figures of the estimators on drawn inputs, as they came out when they were last looked at.

They say nothing of the truth: tests against published values, loops and known sources do. They tell when
a number moves that nobody meant to move. Boosted trees are left out: each version of the library that
grows them grows others. ``python -m pinned_figures`` writes all anew.
"""
