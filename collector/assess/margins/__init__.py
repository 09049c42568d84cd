"""How much is left: air, heat and power of sleds, shelves and racks.

Pure and clock-free. Functions on numbers (``moist_air``, ``fan_laws``, ``heat``, ``power``, ``energy``, ``sketch``,
``ashrae``) at the bottom; ``wiring`` and ``feeding`` compile an inventory into column numbers; ``lag``, ``baseline``
and ``peers`` hold what is learnt, bounded; ``tracker`` and ``racks`` hand out :class:`collector.model.Margin`.
"""
