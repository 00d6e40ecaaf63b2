"""Recorded corpora: a manifest and the files it names, read behind the face of `Corpus`."""

from harness.recordings.corpus import RecordedCorpus
from harness.recordings.opening import open_corpus
from harness.recordings.writer import write_arrays, write_corpus, write_manifest

__all__ = ["RecordedCorpus", "open_corpus", "write_arrays", "write_corpus", "write_manifest"]
