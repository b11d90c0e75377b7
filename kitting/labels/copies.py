"""Copies of a label: which one it is, and what all of them say alike."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, fields, replace
from typing import Any


def as_copy(face: Any, copy: int) -> Any:
    """Give a label that says which copy it is, where labels of its kind do."""
    if any(field.name == "copy" for field in fields(face)):
        return replace(face, copy=copy)
    return face


def data_sha(faces: Sequence[Any]) -> bytes:
    """Hash what labels say, however they are drawn.

    Args:
        faces: The labels of one number.

    Returns:
        32 bytes.
    """
    if len(faces) == 1:
        text = json.dumps(asdict(faces[0]), sort_keys=True, default=str)
    else:
        text = json.dumps([asdict(f) for f in faces], sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).digest()
