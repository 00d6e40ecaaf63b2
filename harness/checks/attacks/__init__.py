"""Promises of an attack, one function each."""
