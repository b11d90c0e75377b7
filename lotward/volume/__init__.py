"""Any number of boxes: a plausible history of three years, written in bulk.

It is for trying what only a full database shows: how long a proof or a trace takes. The
catalogue comes in by the services; what follows is written past them, with their inner
steps, the journal's own hashes and a seal of each row as the acts would have left it, so
that a proof finds nothing. Only the hashes of printed labels are of no document.
"""

from __future__ import annotations
