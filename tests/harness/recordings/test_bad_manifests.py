"""Manifests that are none, and files that go away or do not fit, each in one sentence."""

import os
from typing import Any

import pytest
from one_sentence import sentence

from harness.errors import CorpusError
from harness.recordings import open_corpus


@pytest.mark.parametrize(
    ("content", "places"),
    [
        (b"", ("line 1", "`file`")),
        (b"\xff\xfe", ("line 1", "UTF-8")),
        (b"file,file\n", ("line 1", "twice")),
        (b"file,subject,session,attempt,role,signal,rate_hz,unit\n", ("one row per stream",)),
        (
            b"file,subject,session,attempt,role,signal,rate_hz,unit\n\na.csv,1\n",
            ("line 3", "8 cells", "got 2"),
        ),
        (b'file,subject,session,attempt,role,signal,rate_hz,unit\n"a', ("line 2", "CSV")),
    ],
)
def test_a_manifest_that_is_none(park: Any, content: bytes, places: tuple[str, ...]) -> None:
    (park.folder / "manifest.csv").write_bytes(content)
    with pytest.raises(CorpusError) as caught:
        open_corpus(park.folder)
    text = sentence(caught.value, park)
    assert [place for place in places if place not in text] == [], text


def test_lines_are_counted_as_an_editor_counts_them(park: Any) -> None:
    park.edit(2, condition="dry")
    park.edit(3, rate_hz="bad")
    path = park.write() / "manifest.csv"
    path.write_text(path.read_text().replace("dry", "dry "), encoding="utf-8")
    path.write_text("﻿" + path.read_text().replace("\n", "\r\n\r\n", 1), encoding="utf-8")
    with pytest.raises(CorpusError, match="line 4, `rate_hz`"):
        open_corpus(path)


@pytest.mark.parametrize("name", ["nowhere", "nowhere/manifest.csv", "."])
def test_no_manifest(park: Any, name: str) -> None:
    with pytest.raises(
        CorpusError, match=r"must be a manifest or a folder that holds manifest\.csv, got no"
    ):
        open_corpus(park.folder.parent / name)


def test_a_manifest_that_links_out_of_its_folder(park: Any) -> None:
    park.write()
    other = park.folder.parent / "other"
    other.mkdir()
    os.symlink(park.folder / "manifest.csv", other / "manifest.csv")
    with pytest.raises(CorpusError, match="link that leaves"):
        open_corpus(other)


def test_a_file_that_goes_away_after_opening(park: Any) -> None:
    corpus = open_corpus(park.write())
    (park.folder / "pm.csv").unlink()
    with pytest.raises(CorpusError, match=r"line 6.*'pm\.csv'"):
        corpus.check()
    with pytest.raises(CorpusError, match=r"'pm\.csv'"):
        corpus.digest()


def test_rows_of_very_unequal_length_do_not_fill_the_memory(
    park: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("harness.recordings.corpus.MAX_STREAM_BYTES", 8 * 2 * 40 - 1)
    corpus = open_corpus(park.write())
    with pytest.raises(CorpusError, match=r"line 2: one session's device-a:emg.*got 640"):
        corpus.check()
    with pytest.raises(CorpusError, match="padded"):
        corpus.block(corpus.sittings()[0], frozenset({"device-a:emg"}))
