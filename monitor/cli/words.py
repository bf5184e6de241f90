"""Flags of a result in words; the words themselves stand beside the measures, for every screen."""

from __future__ import annotations

from monitor.measures.flag_words import FLAG_WORDS, in_words

__all__ = ["FLAG_WORDS", "in_words"]
