"""Names of IEC 61131-10's XML that belong to no element; those are in the rows of ``elements``.

Root, headers and namespace as in the contents listing of IEC 61131-10:2019; names of objects, their
types, attributes and children as in excerpts of files in that namespace in public repositories
(found by full-text search). Only ``latch`` of coils is from memory (Annex A).
"""

NAMESPACE = "www.iec.ch/public/TC65SC65BWG7TF10"
INSTANCE = "http://www.w3.org/2001/XMLSchema-instance"

MOVE = "MOVE"
"""The standard function of IEC 61131-3 that assigns a value as it is."""

EDGE_BLOCKS = {"rising": "R_TRIG", "falling": "F_TRIG"}
"""The block that gives power for one scan, by the attribute of an edge."""
