"""keyassay: how much of a body-derived key can an adversary get?"""
