"""A file for each kind of part: everything that there is to say about it.

Its class is a frozen dataclass below ``Part`` (``server.plant.part``): the fields of an exercise
file, the device that reads it, what works it, the words and the drawing, the hand controls, its
concrete and its abstract step, its C. The catalogue is ``PartLists`` in ``server.plant.plant``.
"""
