"""Looks: each one way of finding signs in what a controller tells (see :mod:`collector.assess.looking`)."""
