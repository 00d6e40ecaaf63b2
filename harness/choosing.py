"""From the arguments of an audit to what runs, and the record of it for the result."""

from __future__ import annotations

import platform
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

from harness import plugins
from harness.contracts import Corpus
from harness.digests import file_digest, plugin_digest
from harness.efforts import proposal
from harness.errors import UsageError
from harness.isolation import Stranger, meet
from harness.logs import Logged, LoggedCorpus, is_log, open_log
from harness.recordings import lies_in_files
from harness.score import Disclosure

__all__ = [
    "Chosen",
    "attack_facts",
    "chosen_attacks",
    "chosen_corpus",
    "chosen_log",
    "chosen_schemes",
    "command_words",
    "scheme_facts",
    "versions",
]

DEFAULT_CORPUS = "cargo-bike"
_SIZE = ("subjects", "sessions", "attempts")


def chosen_schemes(spec: Any) -> list[plugins.Plugin]:
    """Schemes to run, each under a name of its own."""
    found = [plugins.resolve("scheme", s) for s in _listed(spec, "scheme")]
    names = [p.value.name for p in found]
    twice = sorted({n for n in names if names.count(n) > 1})
    if twice:
        raise UsageError(f"each scheme must have a name of its own, got {twice[0]!r} twice")
    return found


@dataclass(frozen=True, slots=True)
class ChosenLog:
    """A log of finished exchanges, as the scheme that made it and as a corpus."""

    plugin: plugins.Plugin
    corpus: LoggedCorpus


def chosen_log(spec: Any, corpus: Any) -> ChosenLog | None:
    """The log that is to be audited instead of a scheme; None if schemes are."""
    items = _listed(spec, "scheme")
    if isinstance(items[0], Logged) and isinstance(corpus, LoggedCorpus) and len(items) == 1:
        return ChosenLog(plugins.Plugin(items[0], "object", False), corpus)
    if not any(is_log(item) for item in items):
        return None
    if len(items) > 1 or corpus is not None:
        more = "a corpus" if corpus is not None else f"{len(items)} schemes"
        raise UsageError(
            f"a log of exchanges must be audited by itself, with the people it brings along, got {more}"
        )
    path, options = plugins.parsed(str(items[0]))
    if "scheme" in options:
        made_by = options["scheme"]
        if isinstance(made_by, str) and plugins.file_of(made_by) is not None:
            made_by = str(Path(path).parent / made_by)
        options["scheme"] = plugins.resolve("scheme", made_by).value
    try:
        logged, people = open_log(path, **options)
    except TypeError as error:
        raise UsageError(
            f"a log takes the parameters alphabet, one_way, data and scheme, got {sorted(options)}"
        ) from error
    return ChosenLog(plugins.Plugin(logged, str(items[0]), False), people)


def _listed(value: Any, kind: str) -> list[Any]:
    items = list(value) if isinstance(value, list | tuple) else [value]
    if not items:
        raise UsageError(f"at least one {kind} must be given, got none")
    return items


@dataclass(frozen=True, slots=True)
class Chosen:
    """An attack, and where it came from."""

    attack: Any
    source: str


def chosen_attacks(spec: Any) -> tuple[list[Chosen], list[tuple[str, ...]]]:
    """Attacks to run, and combinations of them by name; "all" ends in all of them together."""
    items = list(plugins.names("attack")) if spec == "all" else _listed(spec, "attack")
    chosen: dict[str, Chosen] = {}
    combinations: list[tuple[str, ...]] = []
    for item in items:
        parts = item.split("+") if isinstance(item, str) and plugins.file_of(item) is None else [item]
        members = []
        for part in parts:
            found = _one_attack(part)
            known = chosen.setdefault(found.attack.name, found)
            if known.source != found.source:
                raise UsageError(
                    f"each attack must have a name of its own, got {found.attack.name!r} twice"
                )
            members.append(found.attack.name)
        if len(members) > 1:
            combinations.append(tuple(dict.fromkeys(members)))
    if spec == "all":
        combinations.append(tuple(chosen))
    several = [names for names in dict.fromkeys(combinations) if len(names) > 1]
    return list(chosen.values()), several


def _one_attack(spec: Any) -> Chosen:
    if isinstance(spec, str) and not plugins.ours("attack", spec):
        return Chosen(meet(spec), spec)  # if there is none, the child says so
    found = plugins.resolve("attack", spec)
    return Chosen(found.value, found.source)


def chosen_corpus(spec: Any, **size: int) -> Corpus:
    """The corpus that a path, a name or an object means; a recorded one is checked whole."""
    if spec is None:
        spec = DEFAULT_CORPUS
    if isinstance(spec, Path) or (isinstance(spec, str) and _is_path(spec)):
        from harness.recordings import open_corpus

        recorded = open_corpus(spec)
        recorded.check()
        return recorded
    value: Corpus = plugins.resolve("corpus", spec, **size).value
    return value


def _is_path(spec: str) -> bool:
    if spec.partition(":")[0] in plugins.names("corpus") or plugins.file_of(spec) is not None:
        return False
    return Path(spec).exists() or "/" in spec or spec.endswith(".csv")


def command_words(
    tested: Sequence[plugins.Plugin], attacks: Any, corpus: Any, source: Corpus, *, seed: int, **size: int
) -> list[str]:
    """The command that makes this result again, without folders of this machine."""
    words = ["keyassay", "audit", *(plugins.shown(p.source) for p in tested)]
    if attacks != "all":
        # an object's own words may name an address in memory, which changes from run to run
        said = [a if isinstance(a, str) else "object" for a in _listed(attacks, "attack")]
        words += [w for a in said for w in ("--attack", plugins.shown(a))]
    if isinstance(source, LoggedCorpus):
        pass  # the log is the scheme and its people
    elif lies_in_files(source):
        words += ["--corpus", source.name]
    else:
        words += [] if corpus is None else ["--corpus", corpus if isinstance(corpus, str) else source.name]
        words += [w for name in _SIZE for w in (f"--{name}", str(size[name]))]
    return [*words, "--seed", str(seed)]


def scheme_facts(plugin: plugins.Plugin, disclosure: Disclosure | None) -> dict[str, Any]:
    """What was run, for the record."""
    scheme = plugin.value
    facts: dict[str, Any] = {
        "name": scheme.name,
        "key_bits": int(scheme.key_bits),
        "signal": scheme.signal if isinstance(scheme.signal, str) else dict(scheme.signal),
        "source": plugins.shown(plugin.source),
        "parameters": plugins.parameters_of(scheme),
        "summary": plugins.summary_of(scheme),
        "digest": plugin_digest(scheme),
    }
    if disclosure is not None:
        facts["disclosed"] = disclosure.labels is not None
        facts["uncovered"] = list(disclosure.uncovered)
        facts["disclosure_problem"] = disclosure.problem
    return facts


def attack_facts(chosen: Chosen) -> dict[str, Any]:
    """What was run, for the record."""
    attack = chosen.attack
    isolated = isinstance(attack, Stranger)
    proposed = None if isolated else proposal(attack)
    return {
        "name": attack.name,
        "sees": sorted(attack.sees),
        "likes": sorted(getattr(attack, "likes", ())),
        "source": plugins.shown(chosen.source),
        "isolated": isolated,
        "parameters": {} if isolated else plugins.parameters_of(attack),
        "summary": attack.summary if isolated else plugins.summary_of(attack),
        "digest": file_digest(attack.spec) if isolated else plugin_digest(attack),
        **({"potential": dict(proposed)} if proposed else {}),
    }


def versions() -> Mapping[str, str]:
    """Versions that a number may depend on."""
    found = {n: version(n) for n in ("keyassay", "numpy", "scipy", "scikit-learn")}
    return {**found, "python": platform.python_version()}
