"""Plug-ins that end the process, with a status that says all is well, wherever they can."""

import sys

from contract_breakers import sound_attacks
from contract_breakers.sound_schemes import Sound


class Leaves(Exception):
    """Cannot even be told."""

    def __str__(self):
        sys.exit(0)


class QuitsWhenRead(Sound):
    @property
    def labels(self):
        sys.exit(0)


class QuitsWhenCounted(Sound):
    @property
    def corrects(self):
        sys.exit(0)


class QuitsWhenCopied(Sound):
    def __deepcopy__(self, memo):
        sys.exit(0)


class QuitsWhenPickled(Sound):
    def __reduce__(self):
        sys.exit(0)


class QuitsWhenUnpickled(Sound):
    def __deepcopy__(self, memo):
        return self

    def __reduce__(self):
        return sys.exit, (0,)


class QuitsWhenTold(Sound):
    @property
    def labels(self):
        raise Leaves


class AttackQuitsWhenCopied(sound_attacks.Sound):
    def __deepcopy__(self, memo):
        sys.exit(0)


class AttackQuitsWhenPickled(sound_attacks.Sound):
    def __reduce__(self):
        sys.exit(0)


class AttackQuitsWhenRated(sound_attacks.Sound):
    @property
    def potential(self):
        sys.exit(0)


class QuitsWhenNamed(Sound):
    @property
    def name(self):
        sys.exit(0)


class QuitsWhenItDeclares(Sound):
    @property
    def known_failures(self):
        raise KeyError("none yet")


class AttackQuitsWhenNamed(sound_attacks.Sound):
    @property
    def name(self):
        sys.exit(0)


class AttackQuitsWhenItDeclares(sound_attacks.Sound):
    @property
    def known_failures(self):
        sys.exit(0)
