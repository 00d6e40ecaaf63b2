"""Promises of a scheme, one function each."""
