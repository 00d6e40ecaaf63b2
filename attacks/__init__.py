"""Adversaries, one small file each; what several of them share lives in lags, channels and sensing."""
