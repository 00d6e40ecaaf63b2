"""Recorded corpora: a manifest and the files it names, read behind the face of `Corpus`."""

from harness.recordings.corpus import RecordedCorpus, lies_in_files
from harness.recordings.opening import open_corpus
from harness.recordings.writer import write_arrays, write_corpus, write_manifest

__all__ = [
    "RecordedCorpus",
    "lies_in_files",
    "open_corpus",
    "write_arrays",
    "write_corpus",
    "write_manifest",
]
