"""Trials of the assessment on a simulated fleet in fast time: what faults were put in, and what was said of them.

``stage`` runs the fleet, ``truth`` says whether a suspect is the part that a fault was put in, ``trial`` runs one
fault or two, ``score`` counts.
"""
