"""Does every interval cover, and every test reject, as often as it says? Run by `make calibration`."""
