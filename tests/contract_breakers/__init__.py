"""Plug-ins that keep every promise but one, and sound ones beside them."""
