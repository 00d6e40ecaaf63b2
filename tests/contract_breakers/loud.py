"""Plug-ins that print, and some that end the process before they are checked."""

import sys

from contract_breakers.sound_schemes import Plain

print("loading")


class Prints(Plain):
    def witness(self, capture):
        print("sensing")
        return super().witness(capture)


class Quits(Plain):
    def __init__(self):
        sys.exit(0)


class QuitsWhenAsked(Plain):
    @property
    def believe(self):
        sys.exit(0)
