"""How much is left: air, heat and power of sleds, shelves and racks.

Pure and clock-free. Functions on numbers (``moist_air``, ``fan_laws``, ``heat``, ``power``, ``energy``, ``ashrae``) at the
bottom; ``plan`` compiles an inventory into column numbers; ``lag`` and ``baseline`` hold what is learnt, bounded;
``margins`` hands out :class:`collector.model.Margin`.
"""
