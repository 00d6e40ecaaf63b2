"""Complete schemes, each written in a TOML file beside this one; read them as examples.

The defaults are tuned, by hand, to agree in more than a third of the attempts of the simulated
scenario: they are not taken from any product, and say nothing of real people.
"""

from pathlib import Path

from schemes.scheme_file import scheme_file

__all__ = ["crossing_set", "gait_deviation", "interval_trend", "level_golay", "pair_sign", "spectral_signs"]

_HERE = Path(__file__).parent

crossing_set = scheme_file(_HERE / "crossing-set.toml")
gait_deviation = scheme_file(_HERE / "gait-deviation.toml")
interval_trend = scheme_file(_HERE / "interval-trend.toml")
level_golay = scheme_file(_HERE / "level-golay.toml")
pair_sign = scheme_file(_HERE / "pair-sign.toml")
spectral_signs = scheme_file(_HERE / "spectral-signs.toml")
